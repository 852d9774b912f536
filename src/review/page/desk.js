// The desk: the exam as a page, the keys, and news from other browsers.
import { make, find, fill, keep, me, say, ask, key, placeTime, quoted } from "./make.js";
import { SEVERITY, asked, at, atHand, choose, counted, current, exam, giveReason, identity, markTracing, reason, takeExam, tracing } from "./hand.js";
import { acts, bench } from "./bench.js";
import { stillCards } from "./still.js";
import { setLine, zoom } from "./line.js";
import { addCall, correctClock, printForm, lostForm } from "./correct.js";
import { signForm, signedWords, unsignForm } from "./sign.js";
import { hasImpression, wordsForm } from "./words.js";
import { callTable } from "./calls.js";
import { working } from "./running-tasks.js";
import { legs, limbDrawings } from "./limb.js";
import { deedTable, isSettling, lastDeed, lastUndone } from "./deeds.js";
import { LOOP_KEYS, stopLoop } from "./cine.js";
import { bringIntoView, measureRoom } from "./room.js";
import { sendForm } from "./send.js";

/** It is one of the exams of an inbox. */
const isOneOfMany = location.pathname.startsWith("/e/");

/** Fetches the exam. The page is drawn anew only when the journal has grown, so that nothing is taken from under a hand. */
async function load() {
  const words = exam ? "Updating the exam" : "Opening the exam";
  const answer = await (await working(find("running-tasks"), words, ask("api/exam"), "exam")).json();
  // It only grows: an answer that is no longer is one that was overtaken on its way.
  if (exam && answer.bytes <= exam.bytes) return;
  const first = exam === null;
  takeExam(answer);
  // The record leaves out what is empty.
  exam.record.changes ??= [];
  draw();
  // By these two marks `benches/desk.rs` tells how long opening takes.
  if (first) performance.mark("exam shown");
}

/** Asks before a signed record becomes a draft again. */
function mayChange() {
  if (exam.record.exam.status !== "signed") return Promise.resolve(true);
  return new Promise((answered) => {
    const dialog = make("dialog", { id: "signed-ask", "aria-labelledby": "signed-ask-title" });
    const close = (answer) => { dialog.close(); dialog.remove(); answered(answer); };
    dialog.append(make("h2", { id: "signed-ask-title" }, "This record is signed"),
      make("p", {}, `A change makes it a draft again; ${exam.record.exam.signed.by} would have to sign again.`),
      make("p", { class: "buttons" }, make("button", { type: "button", onclick: () => close(false) }, "Leave it signed"),
        make("button", { type: "button", class: "main", onclick: () => close(true) }, "Change it")));
    dialog.addEventListener("cancel", (event) => { event.preventDefault(); close(false); });
    document.body.append(dialog);
    dialog.showModal();
  });
}

/** Sends something that is to be written; a record that is signed, or was meanwhile, is asked about first. */
async function send(path, body) {
  const isSigned = exam.record.exam.status === "signed";
  if (!(await mayChange())) throw new Error("Nothing was changed; the record is still signed.");
  try { return await ask(path, { ...body, draft_again: isSigned }); } catch (error) {
    if (!error.signed || isSigned) throw error;
    await load();
    return send(path, body);
  }
}

/** Writes a change into the journal, with what belongs to the same act, then shows the exam as it stands after it. */
async function change(what, why = "", { place, more = [], confirmed = false } = {}) {
  const by = me();
  if (!by) { find("by").focus(); throw new Error("Enter your name at the top first: it is recorded with every change."); }
  const sent = send("api/change", { by, why, seen: exam.version, change: what, place, more, confirmed });
  const { seq } = await (await working(find("running-tasks"), "Writing the change", sent, "exam")).json();
  const [asked, before] = [at?.question, current()];
  await load();
  // What was asked is settled: the question in its place comes next, not the first one.
  if (asked && !questionIs(asked)) {
    const left = exam.questions.length;
    giveReason("");
    choose(left ? { question: identity(exam.questions[Math.min(Math.max(0, before), left - 1)]) } : null);
    draw();
  }
  return seq;
}

/** Whether this question is still asked. */
const questionIs = (wanted) => asked().some((question) => identity(question) === wanted);

/** Writes a change and says so, and what is open now; what it throws is for whoever asked. */
async function done(what, words, why = "", more = {}) {
  await change(what, why, more);
  const left = exam.questions.length;
  say(`${words}. ${left === 0 ? "Nothing is open any more." : left === 1 ? "1 question is open." : `${left} questions are open.`}`);
}

/** A change that settles the question at hand: the next one comes onto the bench. */
async function settle(what, words, why = reason, more = {}) {
  const question = at?.question;
  try { await done(what, words, why, more); } catch (error) { say(error.message, true); await load().catch(() => {}); return; }
  giveReason("");
  if (!question || at?.question === question) return;
  find("bench").focus({ preventScroll: true });
  bringIntoView();
}

function go(what, focus = true) {
  // Whatever was being traced is left: the bench is drawn anew.
  markTracing(false);
  stopLoop();
  if (at?.question !== what?.question) giveReason("");
  choose(what);
  draw();
  if (focus) { find("bench").focus({ preventScroll: true }); bringIntoView(); }
}

function step(by) {
  if (!exam.questions.length) { say("Nothing is open."); return; }
  const next = Math.min(exam.questions.length - 1, Math.max(0, current() + by));
  go({ question: identity(exam.questions[next]) });
}

/** Goes to the still after or before the one at hand, in the order in which they were saved. */
function stillBy(by) {
  const { frames } = exam.record;
  if (!frames.length) { say("This exam has no stills."); return; }
  const { shown } = atHand();
  const next = shown < 0 ? 0 : Math.min(frames.length - 1, Math.max(0, shown + by));
  go({ still: frames[next].id });
}

/** What comes after the last question: an impression that is missing, before anybody signs without one. */
function nextSteps() {
  const step = (words, act, main = false) => make("button", { type: "button", class: main ? "main" : null, onclick: act }, words);
  const signed = exam.record.exam.status === "signed";
  const lacks = !signed && !hasImpression(exam);
  const [impression, sign] = [step("Write the impression", writeWords, lacks), signed ? null : step("Sign", openSigning, !lacks)];
  return [
    make("p", {}, `Every question is settled${lacks ? ", but the report has no impression yet: write what the scan means" : ""}. Choose a still or a phrase to look at it again.`),
    make("p", { class: "buttons" }, lacks ? [impression, sign] : [sign, impression], step("Print", openPrinting), step("Send", sendForm),
      isOneOfMany ? step("Next exam", nextExam, signed) : null),
  ];
}

/** What the bench asks for. */
const TO = { go, settle, done, change, send, load, next: nextSteps };

/** Length of the journal that the whole page was last drawn from. */
let drawn = -1;

function draw() {
  if (current() < 0 && (at === null || at.question)) choose(exam.questions.length ? { question: identity(exam.questions[0]) } : null);
  sessionStorage.setItem(`at ${location.pathname}`, JSON.stringify(at));
  list();
  const grown = drawn !== exam.bytes;
  if (grown) setLine(exam, go);
  // Nobody's drawing is taken from under their hands.
  if (!tracing) bench(TO);
  // What is chosen changes nothing in the rest: with hundreds of stills it would cost half a second a key.
  if (!grown) return;
  drawn = exam.bytes;
  head();
  fill(find("limbs-in"), limbDrawings(exam, go));
  fill(find("legs-in"), legs(exam));
  keep(find("stills-in"), stillCards(exam, go));
  fill(find("calls-in"), callTable(exam, go));
  fill(find("changes-in"), deedTable(exam, takeBack));
}

/** What was heard and not understood is no call, nor is one that was withdrawn. */
const isCall = (call) => !call.withdrawn && call.kind !== "unknown";

function head() {
  const { exam: info, frames, calls } = exam.record;
  const name = info.horse.name ?? info.horse.id ?? "Unnamed horse";
  find("horse").textContent = name;
  document.title = `${name}: review desk`;
  const day = placeTime(info.started_at, info.utc_offset_s, "long");
  find("facts").textContent = [day, info.person && `scanned by ${info.person}`, counted(frames.length, "still"), counted(calls.filter(isCall).length, "call")].filter(Boolean).join(", ");
  find("cautions").textContent = exam.cautions;
  find("status").textContent = info.status === "signed" ? "Signed" : "Draft";
  const { signed } = info;
  const when = signed && placeTime(signed.at, info.utc_offset_s, "long");
  find("signed").textContent = signed ? signedWords(info.status, signed, when) : "";
  const done = exam.history.filter(isSettling).length;
  stack();
  find("open-count").textContent = `${exam.questions.length} open, ${done} corrected or settled`;
  Object.assign(find("open-bar"), { max: Math.max(1, exam.questions.length + done), value: done });
}

/** The open questions; the list is made anew only when the exam has grown, else only the mark moves. */
function list() {
  const item = (question) => {
    const [sign, word] = SEVERITY[question.severity];
    return make("li", {}, make("button", { type: "button", class: question.severity, onclick: () => go({ question: identity(question) }) },
      make("span", { class: "sign", title: word }, make("span", { "aria-hidden": "true" }, sign), make("span", { class: "hidden" }, word)),
      make("span", {}, quoted(question.shown))));
  };
  if (drawn !== exam.bytes) {
    fill(find("questions"), exam.questions.map(item));
    fill(find("informing-in"), exam.informing.map(item));
    find("informing").hidden = !exam.informing.length;
    find("informing-count").textContent = `${counted(exam.informing.length, "note")}, nothing to do`;
  }
  document.querySelectorAll("#questions [aria-current], #informing [aria-current]").forEach((one) => one.removeAttribute("aria-current"));
  const here = [...find("questions").children, ...find("informing-in").children][current()]?.firstElementChild;
  if (current() >= exam.questions.length) find("informing").open = true;
  here?.setAttribute("aria-current", "true");
  here?.scrollIntoView({ block: "nearest" });
}

/** A call that was made and not heard, at the moment that is at hand. */
const addHere = () => addCall(exam, (exam && atHand().span?.[0]) ?? 0, done);

/** Takes back the lines of one act, in one act. */
const takeBackAll = ([first, ...others], words) => settle({ change: "take_back", seq: first }, words, reason,
  { more: others.map((seq) => ({ change: "take_back", seq })) });

/** Undoes something; a signature is withdrawn only with the passphrase of a vet. */
async function takeBack(deed) {
  if (deed.kind !== "signature") { await takeBackAll(deed.seqs ?? [deed.seq], `Undone: ${deed.what}. Press Y to redo it`); return; }
  let people;
  try { people = await everybody(); } catch (error) { say(error.message, true); return; }
  unsignForm(deed, people, async (wish) => {
    await ask("api/unsign", { ...wish, seen: exam.version });
    await load();
    say("The signature is withdrawn; the record is a draft.");
  });
}

/** Names what the two keys would do, before anybody presses them. */
function stack() {
  const own = lastDeed(exam, me());
  const undone = lastUndone(exam, me());
  const put = (id, words, letter, act) => {
    fill(find(id), words, letter ? [" ", key(letter)] : []);
    find(id).title = words;
    find(id).disabled = !act;
    find(id).onclick = act;
  };
  if (own) put("undo", `Undo: ${own.what}`, "Z", lastOwn); else put("undo", "Nothing to undo", null, null);
  find("redo").hidden = !undone;
  if (undone) put("redo", `Redo: ${undone.what}`, "Y", again);
}

/** Pressed again it undoes what was done before that. */
function lastOwn() {
  const own = lastDeed(exam, me());
  if (own) takeBack(own); else say("You have nothing to undo.");
}

/** Redoes what was undone last, unless something was done since. */
function again() {
  const undone = lastUndone(exam, me());
  if (undone) takeBackAll(undone.seqs, `Redone: ${undone.what}`); else say("There is nothing to redo.");
}

/** Opens the next exam of the inbox that is not finished. */
async function nextExam() {
  if (!isOneOfMany) { say("This desk shows one exam only. Open a folder of exams for an inbox."); return; }
  let rows;
  try { rows = await (await ask("../../api/inbox")).json(); } catch (error) { say(error.message, true); return; }
  const here = rows.findIndex((row) => `/e/${encodeURIComponent(row.name)}/` === location.pathname);
  const next = [...rows.slice(here + 1), ...rows.slice(0, here)].find((row) => !row.signed && !row.problem);
  if (next) location.href = `../${encodeURIComponent(next.name)}/`; else say("No other exam is waiting: all are signed.");
}

const ALWAYS = {
  s: ["Next still", () => stillBy(1)], b: ["Still before", () => stillBy(-1)],
  j: ["Next open question", () => step(1)], k: ["Previous question", () => step(-1)], z: ["Undo the last thing you did", lastOwn], y: ["Redo what you undid", again], n: ["Add a call that was not heard", addHere], e: ["Go to the next exam of the inbox", nextExam], p: ["Print the report of the exam as it is now", () => openPrinting()], i: ["Write impression and recommendation", () => writeWords()],
  "+": ["Zoom in on the timeline", () => zoom(1.5)], "-": ["Zoom out on the timeline", () => zoom(1 / 1.5)], "?": ["Show these keys", showKeys],
};
const OFTEN = [["Space", "Play what was said, or stop"], ["G", "Play from five seconds before"], ["1 to 9", "Choose that label"], ["A", "Accept as it is"], ["L", "Label the still by hand"],
  ["T", "Trace an area or set a distance on the still"], ["X", "The still is not part of the exam"], ["R", "Add the still to the report, or leave it out"], [", .", "Loop: frame before, next frame"], ["F", "Play the loop, or stop it"], ["C", "Correct the call"], ["M", "Move the call in time"], ["W", "Withdraw the call"]];

function showKeys() {
  const rows = [...OFTEN, ...Object.entries(ALWAYS).map(([name, [words]]) => [name.toUpperCase(), words]), ["← →", "On the timeline: previous and next phrase or still"]];
  fill(find("keys"), make("h2", { id: "keys-title" }, "Keys"),
    make("dl", {}, rows.map(([name, words]) => make("div", {}, make("dt", {}, key(name)), make("dd", {}, words)))),
    make("p", { class: "buttons" }, make("button", { type: "button", class: "main", onclick: () => find("keys").close() }, "Close")));
  find("keys").showModal();
}

document.addEventListener("keydown", (event) => {
  if (tracing || event.ctrlKey || event.metaKey || event.altKey || document.querySelector("dialog[open]")) return;
  const { target } = event;
  if (target.matches("input, select, textarea")) return;
  // On a button the space bar presses it, as people with a keyboard expect.
  if (event.key === " " && target.matches("button, a")) return;
  const loop = LOOP_KEYS[event.key.toLowerCase()];
  if (loop && document.querySelector(`#bench ${loop}`)) { event.preventDefault(); document.querySelector(`#bench ${loop}`).click(); return; }
  const act = acts[event.key.toLowerCase()] ?? ALWAYS[event.key.toLowerCase()]?.[1];
  if (!act || !exam) return;
  event.preventDefault();
  // A key held down is one wish, not many.
  if (event.repeat) return;
  act();
});

find("keys-open").addEventListener("click", showKeys);
find("to-inbox").hidden = !isOneOfMany;
const everybody = async () => (await ask("api/people")).json();

/** Asks for a vet, then signs what is shown now. */
async function openSigning() {
  let people;
  try { people = await everybody(); } catch (error) { say(error.message, true); return; }
  signForm(exam, people, {
    begin: (vet) => ask("api/people", vet),
    sign: async (wish) => {
      await ask("api/sign", { ...wish, seen: exam.version });
      await load();
      say(`Signed by ${wish.by}.`);
    },
  });
}
find("sign-open").addEventListener("click", openSigning);

/** Offers the names of the practice, and says what the person at the desk may do. */
async function namePeople() {
  const people = await everybody();
  fill(find("people"), people.map((person) => make("option", { value: person.name })));
  const own = people.find((person) => person.name.toLowerCase() === me().toLowerCase());
  find("by-why").textContent = !own && people.length && me() ? "not on the practice's list: you may look, but not change anything" : !own ? "recorded with every change you make" : own.role === "vet" ? "vet; recorded with every change you make" : "assistant: a vet signs; recorded with every change you make";
}
const openPrinting = () => exam && printForm(exam.record.exam.status === "signed");
find("print-open").addEventListener("click", openPrinting);
const writeWords = () => exam && wordsForm(exam, done);
find("words-open").addEventListener("click", writeWords);
find("call-add").addEventListener("click", addHere);
find("clock-open").addEventListener("click", () => correctClock(exam, done));
find("by").value = localStorage.getItem("by") ?? "";
find("by").addEventListener("change", () => { localStorage.setItem("by", me()); if (exam) stack(); namePeople().catch(() => {}); });

addEventListener("resize", () => measureRoom());
find("form").addEventListener("close", () => measureRoom());
find("form").addEventListener("close", () => load().catch((error) => say(error.message, true)));

/** Another browser or program wrote into the journal: the page follows, unless a form is being filled in. */
function follow() {
  const news = new EventSource("api/news");
  news.addEventListener("grown", async (event) => {
    if (Number(event.data) <= exam.bytes || tracing || document.querySelector("dialog[open]")) return;
    const before = exam?.version;
    try { await load(); } catch (error) { say(error.message, true); return; }
    const others = exam.history.filter((deed) => deed.seq > before && deed.by !== me());
    if (before && others.length) say(`${others.at(-1).by}: ${others.at(-1).what}`, false, true);
  });
  news.addEventListener("error", () => { document.body.classList.add("alone"); });
  news.addEventListener("open", () => { document.body.classList.remove("alone"); });
}

namePeople().catch(() => {});
load().then(() => { follow(); const left = lostForm(); if (left) say(left); }, (error) => { find("horse").textContent = "The exam cannot be shown"; say(error.message, true); });
