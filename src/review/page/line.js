// The line through time: the kept sound, the utterances and what they were taken for, saves, stills, lost sound, clocks.
import { make, find, fill, keep, clock, ask, say } from "./make.js";
import { statusWords } from "./still.js";
import { working } from "./running-tasks.js";
import { spoken, wordsOf, wordAt } from "./spoken.js";

const HEIGHT = { ticks: 18, wave: 34 };
const state = { pxPerS: 24, peaks: new Uint8Array(), binsPerS: 50, exam: null, open: null, at: -1, marks: [], nodes: new Map(), lit: new Set(), frame: 0 };
const player = new Audio();

/** How sound is played; a reload keeps what was set. */
const SPEEDS = [0.75, 1, 1.25, 1.5, 2];
const listening = { speed: 1, repeat: false, ...JSON.parse(sessionStorage.getItem("listening") ?? "{}") };
function setListening(change) {
  Object.assign(listening, change);
  sessionStorage.setItem("listening", JSON.stringify(listening));
  player.playbackRate = listening.speed;
  player.loop = listening.repeat;
}

/** Speed and repeating, beside the button that plays. */
export function soundControls() {
  const speed = make("select", { "aria-label": "Speed", id: "sound-speed" }, SPEEDS.map((one) => make("option", { value: String(one), selected: one === listening.speed }, `${one} ×`)));
  speed.addEventListener("change", () => setListening({ speed: Number(speed.value) }));
  const repeat = make("input", { type: "checkbox", id: "sound-repeat", checked: listening.repeat });
  repeat.addEventListener("change", () => setListening({ repeat: repeat.checked }));
  return make("span", { class: "sound" }, speed, repeat, make("label", { for: "sound-repeat" }, "repeat"));
}

/** Plays a stretch of the exam; asked for the same one while it plays, it stops. */
export async function play(fromS, toS) {
  const source = `api/sound?from=${Math.max(0, fromS).toFixed(3)}&to=${toS.toFixed(3)}`;
  if (!player.paused && player.getAttribute("src") === source) { player.pause(); return; }
  player.src = source;
  player.dataset.from = String(Math.max(0, fromS));
  setListening({});
  try { await player.play(); } catch (error) {
    if (error.name !== "AbortError") say(`The sound cannot be played: ${error.message}`, true);
  }
}
for (const name of ["timeupdate", "pause", "ended"]) player.addEventListener(name, () => draw());
player.addEventListener("play", listen);
/** Where in the exam the sound is now; none while nothing plays. */
const soundAt = () => player.paused ? null : Number(player.dataset.from) + player.currentTime;

/** While sound plays: its place stays in view, and each word lights up when it is said. */
function listen() {
  // Another stretch may begin while one sounds: there is one loop all the same.
  cancelAnimationFrame(state.frame);
  const at = soundAt();
  light(at);
  if (at === null) return;
  const strip = find("strip");
  const x = at * state.pxPerS - strip.scrollLeft;
  // Only from the edge: whoever has scrolled elsewhere meanwhile is left there.
  if (x > strip.clientWidth - 20 && x < strip.clientWidth + 20) strip.scrollLeft += strip.clientWidth / 2;
  state.frame = requestAnimationFrame(listen);
}

/** Marks the phrase that is heard now, and its word, on the line and on the bench. */
function light(at) {
  const heard = at === null ? [] : state.marks.filter((mark) => mark.kind === "utterance" && at >= mark.from && at <= mark.to)
    .map((mark) => state.nodes.get(`utterance ${mark.seq}`)).filter(Boolean);
  const bench = at === null ? [] : [...document.querySelectorAll("#bench .heard q")];
  const lit = new Set([...heard, ...[...heard, ...bench].map((node) => wordAt(node, at)).filter(Boolean)]);
  for (const node of state.lit) if (!lit.has(node)) node.classList.remove("sounding");
  for (const node of lit) node.classList.add("sounding");
  state.lit = lit;
}
export const playing = () => ({ paused: player.paused, src: player.src, duration: player.duration });

const OUTCOME = {
  calls: "understood", not_understood: "not understood", asked: "read back", talk: "talk", note: "in a note", ignored: "not acted on",
};

/** Shows this exam on the line; `open` receives what a person chose. */
export async function setLine(exam, open) {
  const first = state.exam === null;
  Object.assign(state, { exam, open });
  const utterances = exam.utterances.map((utterance) => ({
    kind: "utterance", from: utterance.span_s[0], to: utterance.span_s[1], seq: utterance.seq, outcome: utterance.outcome, said: wordsOf(utterance),
    text: utterance.words || "(no words)", words: `${utterance.words || "no words"}, ${OUTCOME[utterance.outcome]}, at ${clock(utterance.span_s[0])}`,
  }));
  const stills = exam.still_s.map((at, number) => at === null ? null : {
    kind: "still", from: at, to: at, id: exam.record.frames[number].id, status: exam.record.frames[number].status,
    text: `${number + 1}${["ambiguous", "unlabelled"].includes(exam.record.frames[number].status) ? "?" : ""}`,
    words: `still ${number + 1}, ${statusWords(exam.record.frames[number].status)}, at ${clock(at)}`,
  }).filter(Boolean);
  const gaps = exam.gaps_s.map(([at, length]) => {
    const words = length > 0 ? `${length.toFixed(1)} s of sound lost` : "sound lost";
    return { kind: "gap", from: at, to: at, id: at, text: words, words: `${words}, at ${clock(at)}` };
  });
  const saves = exam.record.calls.filter((call) => call.kind === "save" && !call.withdrawn);
  state.signs = [
    ...saves.map((save) => ({ kind: "save", at: save.span_s[0], text: "saved" })),
    ...exam.anchors_s.map((at) => ({ kind: "anchor", at, text: "◆" })),
  ];
  state.marks = [...utterances, ...stills, ...gaps].sort((a, b) => a.from - b.from);
  layout();
  if (first) await loadSound();
}

async function loadSound() {
  try {
    const answer = await working(find("running-tasks"), "Drawing the sound", ask("api/peaks"), "sound");
    state.binsPerS = Number(answer.headers.get("x-bins-per-s"));
    state.peaks = new Uint8Array(await answer.arrayBuffer());
    state.loudest = state.peaks.reduce((most, bin) => Math.max(most, bin), 1);
  } catch (error) { find("line-now").textContent = error.message; }
  layout();
  performance.mark("sound shown");
}

const lengthS = () => Math.max(state.exam?.audio_s ?? 0, state.peaks.length / state.binsPerS, ...(state.exam?.still_s.filter((at) => at !== null) ?? [0])) + 2;

function layout() {
  find("marks").style.width = `${lengthS() * state.pxPerS}px`;
  draw();
}

/** Draws what can be seen and no more, so that hours scroll as smoothly as minutes. */
function draw() {
  const strip = find("strip");
  const canvas = find("wave");
  const [width, height] = [strip.clientWidth, HEIGHT.wave + HEIGHT.ticks];
  const ratio = window.devicePixelRatio || 1;
  if (canvas.width !== Math.round(width * ratio)) { canvas.width = Math.round(width * ratio); canvas.height = Math.round(height * ratio); }
  canvas.style.width = `${width}px`;
  canvas.style.height = `${height}px`;
  const ink = getComputedStyle(document.body);
  const pen = canvas.getContext("2d");
  pen.setTransform(ratio, 0, 0, ratio, 0, 0);
  pen.clearRect(0, 0, width, height);
  const fromS = strip.scrollLeft / state.pxPerS;
  const toS = fromS + width / state.pxPerS;
  pen.fillStyle = ink.getPropertyValue("--soft");
  pen.font = `12px ${ink.fontFamily}`;
  const every = [1, 5, 10, 30, 60, 300, 600].find((step) => step * state.pxPerS >= 64) ?? 1800;
  for (let at = Math.ceil(fromS / every) * every; at < toS; at += every) {
    const x = (at - fromS) * state.pxPerS;
    pen.fillRect(x, 14, 1, 6);
    pen.fillText(clock(at).replace(/\.0$/, ""), x + 3, 12);
  }
  pen.fillStyle = ink.getPropertyValue("--wave");
  const loudest = state.loudest || 1;
  const middle = HEIGHT.ticks + HEIGHT.wave / 2;
  for (let x = 0; x < width; x += 2) {
    const bin = Math.floor((fromS + x / state.pxPerS) * state.binsPerS);
    const next = Math.max(bin + 1, Math.floor((fromS + (x + 2) / state.pxPerS) * state.binsPerS));
    let most = 0;
    for (let idx = bin; idx < next && idx < state.peaks.length; idx += 1) most = Math.max(most, state.peaks[idx]);
    const half = Math.max(0.5, Math.sqrt(Math.min(1, most / loudest)) * (HEIGHT.wave / 2 - 2));
    pen.fillRect(x, middle - half, 1.4, half * 2);
  }
  if (!player.paused) {
    pen.fillStyle = ink.getPropertyValue("--accent");
    pen.fillRect((Number(player.dataset.from) + player.currentTime - fromS) * state.pxPerS, HEIGHT.ticks, 2, HEIGHT.wave);
  }
  drawMarks(fromS - 5, toS + 5);
}

/** The marks in view. One that was in view before keeps its element: a click or the focus on it outlives the drawing. */
function drawMarks(fromS, toS) {
  const shown = state.marks.map((mark, idx) => [mark, idx]).filter(([mark]) => mark.to >= fromS && mark.from <= toS);
  const focusable = shown.some(([, idx]) => idx === state.at) ? state.at : shown[0]?.[1];
  const marks = shown.map(([mark, idx]) => {
    const node = drawn(`${mark.kind} ${mark.seq ?? mark.id}`, () => make("button", { type: "button" }));
    // What changes with the exam is looked up when it is pressed.
    node.onclick = () => choose(idx);
    node.onfocus = () => { state.at = idx; };
    put(node, `mark ${mark.kind} ${mark.outcome ?? mark.status ?? ""}`, mark.outcome === "not_understood" ? `? ${mark.text}` : mark.text, mark.from, mark.said);
    for (const [name, value] of [["aria-label", mark.words], ["title", mark.words], ["data-mark", idx], ["data-seq", mark.seq ?? ""], ["tabindex", idx === focusable ? 0 : -1]]) node.setAttribute(name, value);
    node.toggleAttribute("aria-current", false);
    if (idx === state.at) node.setAttribute("aria-current", "true");
    if (mark.kind === "utterance") node.style.width = `${Math.max(22, (mark.to - mark.from) * state.pxPerS)}px`;
    return node;
  });
  const signs = (state.signs ?? []).filter((sign) => sign.at >= fromS && sign.at <= toS).map((sign) => {
    const node = drawn(`${sign.kind} ${sign.at}`, () => make("span", { "aria-hidden": "true" }));
    put(node, sign.kind, sign.text, sign.at);
    if (sign.kind === "anchor") node.title = `clock reading at ${clock(sign.at)}`;
    return node;
  });
  keep(find("marks"), [...signs, ...marks]);
  const inView = new Set(find("marks").children);
  for (const [name, node] of state.nodes) if (!inView.has(node)) state.nodes.delete(name);
  light(soundAt());
}

function drawn(name, anew) {
  if (!state.nodes.has(name)) state.nodes.set(name, anew());
  return state.nodes.get(name);
}

function put(node, kind, text, atS, said = []) {
  node.className = kind;
  if (node.textContent !== text) fill(node, spoken(text, said));
  node.style.left = `${atS * state.pxPerS}px`;
}

function choose(idx) {
  const mark = state.marks[idx];
  state.at = idx;
  find("line-now").textContent = mark.words;
  if (mark.kind === "utterance") { play(mark.from, mark.to); state.open({ utterance: mark.seq }); }
  else if (mark.kind === "still") state.open({ still: mark.id });
}

/** Brings a second of the exam into view. */
export function showAt(seconds) {
  if (seconds === null || seconds === undefined) return;
  const strip = find("strip");
  const x = seconds * state.pxPerS;
  if (x < strip.scrollLeft + 40 || x > strip.scrollLeft + strip.clientWidth - 80) strip.scrollLeft = x - strip.clientWidth / 3;
  const near = state.marks.findIndex((mark) => Math.abs(mark.from - seconds) < 0.05);
  if (near >= 0) state.at = near;
  draw();
}

export function zoom(factor) {
  const strip = find("strip");
  const middle = (strip.scrollLeft + strip.clientWidth / 2) / state.pxPerS;
  state.pxPerS = Math.min(200, Math.max(0.1, state.pxPerS * factor));
  layout();
  strip.scrollLeft = middle * state.pxPerS - strip.clientWidth / 2;
  draw();
}

/** A click into the drawn sound plays from there. */
const HEARD_S = 30;
find("wave").addEventListener("click", (event) => {
  const at = (find("strip").scrollLeft + event.offsetX) / state.pxPerS;
  if (state.exam && at < state.exam.audio_s) play(at, Math.min(at + HEARD_S, state.exam.audio_s));
});
find("strip").addEventListener("scroll", () => requestAnimationFrame(draw));
addEventListener("resize", () => requestAnimationFrame(draw));
// The system turns dark at dusk: what is painted follows, as the rest of the page does by itself.
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => requestAnimationFrame(draw));
find("line-in").addEventListener("click", () => zoom(1.5));
find("line-out").addEventListener("click", () => zoom(1 / 1.5));
find("strip").addEventListener("keydown", (event) => {
  const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
  if (!step || !state.marks.length) return;
  event.preventDefault();
  event.stopPropagation();
  const next = Math.min(state.marks.length - 1, Math.max(0, state.at + step));
  const mark = state.marks[next];
  showAt(mark.from);
  // Two marks may lie at one moment: the second one is meant all the same.
  state.at = next;
  draw();
  find("line-now").textContent = mark.words;
  find("marks").querySelector(`[data-mark="${state.at}"]`)?.focus({ preventScroll: true });
});
