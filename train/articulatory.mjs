// Speaks with gnuspeech, a model of the vocal tract. Reads lines of JSON on standard input: {"text", "path", "voice", "tract_cm",
// "pitch", "breath", "tempo", "tp", "tn", "radius"}; writes the file at `path` and a line "done" for each.
// Takes the folder of the package @echogarden/gnuspeech-wasm (with its dependency beside it) as its argument.
import { createInterface } from 'node:readline'
import { createRequire } from 'node:module'
import { pathToFileURL } from 'node:url'
import { writeFileSync } from 'node:fs'

const folder = process.argv[2]
const { default: start } = await import(pathToFileURL(`${folder}/wasm/gnuspeech.js`))
const { wrapEmscriptenModuleHeap } = await import(
  pathToFileURL(createRequire(`${folder}/package.json`).resolve('wasm-heap-manager')))
const DATA = '/data/en'

// One line `key = value` of a settings file, with another value.
const set = (file, key, value) => file.replace(new RegExp(`^${key} = .*$`, 'm'), `${key} = ${value}`)
const silent = { print: () => {}, printErr: () => {} }
let engine = await start(silent)
const read = (name) => engine.FS.readFile(`${DATA}/${name}`, { encoding: 'utf8' })
const model = read('trm_control_model.txt')
const voices = Object.fromEntries(['male', 'female', 'large_child', 'small_child', 'baby'].map((v) => [v, read(`voice_${v}.txt`)]))

function say(want) {
  let voice = voices[want.voice]
  voice = set(voice, 'vocal_tract_length', want.tract_cm)
  voice = set(voice, 'reference_glottal_pitch', want.pitch)
  voice = set(voice, 'breathiness', want.breath)
  voice = set(voice, 'glottal_pulse_tp', want.tp)
  voice = set(voice, 'glottal_pulse_tn_min', want.tn)
  voice = set(voice, 'glottal_pulse_tn_max', want.tn)
  want.radius.forEach((r, i) => { voice = set(voice, `radius_${i + 1}_coef`, r) })
  engine.FS.writeFile(`${DATA}/voice_${want.voice}.txt`, voice)
  engine.FS.writeFile(`${DATA}/trm_control_model.txt`, set(set(set(model, 'voice_name', want.voice), 'tempo', want.tempo), 'drift_deviation', want.drift))
  const heap = wrapEmscriptenModuleHeap(engine)
  const names = [want.text, './out.wav', DATA, './out.txt'].map((s) => heap.allocNullTerminatedUtf8String(s))
  engine._GnuSpeech_synthesizeToFile(...names.map((n) => n.address), false)
  writeFileSync(want.path, engine.FS.readFile('./out.wav'))
  names.forEach((n) => n.free())
}

let said = 0
for await (const line of createInterface({ input: process.stdin })) {
  try {
    say(JSON.parse(line))
  } catch {
    engine = await start(silent) // a text it fails on leaves no file, and may leave the engine broken
  }
  if (++said % 200 === 0) engine = await start(silent)
  console.log('done')
}
