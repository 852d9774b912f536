// The desk: what is at hand, the keys, and news from other browsers.
import { make, find, fill, keep, me, say, ask, clock, key, placeTime, quoted } from "./make.js";
import { stillsBeside, lamp, stillCards, placeWords, statusWords, doubtWords } from "./still.js";
import { setLine, play, showAt, soundControls, zoom } from "./line.js";
import { addCall, moveCall, correctCall, correctStill, correctClock, printForm, lostForm } from "./correct.js";
import { signForm, signedWords, unsignForm } from "./sign.js";
import { wordsForm } from "./words.js";
import { sinceLast } from "./since.js";
import { traceOn } from "./trace.js";
import { valuesHere } from "./values.js";
import { callTable, meaning } from "./calls.js";
import { noteHere, noteOf } from "./note.js";
import { working } from "./doing.js";
import { spoken, wordsOf, wordsWithin } from "./spoken.js";
import { legs, limbDrawings } from "./limb.js";
import { deedTable, isSettling, lastDeed, lastUndone } from "./deeds.js";
import { LOOP_KEYS, frameShown, stopLoop } from "./cine.js";

let exam = null;
/** What lies on the bench: an open question by its identity, or a still, a call or an utterance that was chosen. */
let at = JSON.parse(sessionStorage.getItem(`at ${location.pathname}`) ?? "null");
/** It is one of the exams of an inbox. */
const isOneOfMany = location.pathname.startsWith("/e/");
/** Keys that mean something for what is on the bench, with what they do. */
let acts = {};
/** Somebody is tracing: the bench is not drawn anew under their hands. */
let tracing = false;
const isTracing = (now) => { tracing = now; document.body.classList.toggle("tracing-now", now); };

const SEVERITY = { error: ["!!", "Wrong or lost"], warn: ["!", "Check"], info: ["i", "Note"] };
const identity = (question) => [question.rule, question.call_seq ?? "", question.still ?? "", question.text].join("|");
const stillNumber = (id) => exam.record.frames.findIndex((row) => row.id === id);
const callOf = (seq) => exam.record.calls.find((call) => call.seq === seq);
/** Everything that may lie on the bench as a question: first what is open, then what only informs. */
const asked = () => [...exam.questions, ...exam.informing];
const current = () => asked().findIndex((question) => identity(question) === at?.question);
/** Questions that were listened to since the page was opened. */
const listenedTo = new Set();
/** What was typed as the reason of the question at hand. */
let reason = "";

/** Why something is left as it is: in the person's words, else what is known of how it was looked at. */
const asItIs = (question) => reason || (listenedTo.has(identity(question)) ? "as it is, after listening" : "as it is");

/** Fetches the exam. The page is drawn anew only when the journal has grown, so that nothing is taken from under a hand. */
async function load() {
  const words = exam ? "Updating the exam" : "Opening the exam";
  const answer = await (await working(find("doing"), words, ask("api/exam"), "exam")).json();
  // It only grows: an answer that is no longer is one that was overtaken on its way.
  if (exam && answer.bytes <= exam.bytes) return;
  const first = exam === null;
  exam = answer;
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

/** Writes a change into the journal, then shows the exam as it stands after it. */
async function change(what, why = "", { place, confirmed = false } = {}) {
  const by = me();
  if (!by) { find("by").focus(); throw new Error("Enter your name at the top first: it is recorded with every change."); }
  const sent = send("api/change", { by, why, seen: exam.version, change: what, place, confirmed });
  const { seq } = await (await working(find("doing"), "Writing the change", sent, "exam")).json();
  await load();
  return seq;
}

/** A change that settles the question at hand: the next one comes onto the bench. */
async function settle(what, words, why = reason) {
  const place = current();
  try {
    await change(what, why);
    reason = "";
  } catch (error) { say(error.message, true); await load().catch(() => {}); return; }
  const left = exam.questions.length;
  if (place >= 0 && current() < 0) {
    at = left ? { question: identity(exam.questions[Math.min(place, left - 1)]) } : null;
    draw();
    find("bench").focus({ preventScroll: true });
    bringIntoView();
  }
  say(`${words}. ${left === 0 ? "Nothing is open any more." : left === 1 ? "1 question is open." : `${left} questions are open.`}`);
}

function go(what, focus = true) {
  // Whatever was being traced is left: the bench is drawn anew.
  isTracing(false);
  stopLoop();
  if (at?.question !== what?.question) reason = "";
  at = what;
  draw();
  if (focus) { find("bench").focus({ preventScroll: true }); bringIntoView(); }
}

/** Brings what is at hand into view: its head, but first of all the whole still, which nothing covers. */
function bringIntoView() {
  const { top } = find("bench").getBoundingClientRect();
  // In a low window a still takes the room that the question above it leaves.
  const glass = document.querySelector("#bench .glass")?.getBoundingClientRect();
  if (glass) find("bench").style.setProperty("--room", `${innerHeight - (glass.top - top) - 34}px`);
  if (top < 0 || top > innerHeight / 3) find("bench").scrollIntoView({ block: "start" });
  document.querySelector("#bench .glass")?.scrollIntoView({ block: "nearest" });
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

/** Length of the journal that the whole page was last drawn from. */
let drawn = -1;

function draw() {
  if (current() < 0 && (at === null || at.question)) at = exam.questions.length ? { question: identity(exam.questions[0]) } : null;
  sessionStorage.setItem(`at ${location.pathname}`, JSON.stringify(at));
  list();
  const grown = drawn !== exam.bytes;
  if (grown) setLine(exam, go);
  // Nobody's drawing is taken from under their hands.
  if (!tracing) bench();
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

const counted = (number, noun) => number === 1 ? `1 ${noun}` : `${number} ${noun}s`;
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

/** What is at hand, whatever way it was chosen: its question, still, call and stretch of sound. */
function atHand() {
  const question = at?.question ? asked()[current()] : null;
  const utterance = exam.utterances.find((one) => one.seq === (question?.call_seq ?? at?.utterance));
  const together = question ? [] : callsOf(utterance);
  const seq = question?.call_seq ?? at?.call ?? together[0]?.seq;
  const number = stillNumber(question?.still ?? at?.still);
  const frame = exam.record.frames[number];
  const call = callOf(seq ?? frame?.call_seq) ?? null;
  const said = noteOf(exam, call)?.span_s ?? utterance?.span_s ?? call?.span_s ?? around(frame && exam.still_s[number]);
  // A question about something before the call, such as an utterance that was not understood, is heard from there.
  const doubt = question?.at && exam.utterances.findLast((one) => one.span_s[0] <= seconds(question.at) + 0.05)?.span_s;
  const span = said && doubt && doubt[0] < said[0] ? [doubt[0], said[1]] : said;
  const shown = number >= 0 ? number : call ? exam.record.frames.findIndex((row) => row.call_seq === call.seq) : -1;
  return { question, number, frame, call, utterance, span, shown, together };
}

/** What was understood in an utterance. */
const callsOf = (utterance) => !utterance ? [] : exam.record.calls.filter((call) => !call.added && call.span_s[0] >= utterance.span_s[0] - 0.01 && call.span_s[1] <= utterance.span_s[1] + 0.01);

const seconds = (instant) => (new Date(instant) - new Date(exam.record.exam.started_at)) / 1000;
const around = (seconds) => seconds === null || seconds === undefined ? null : [Math.max(0, seconds - 4), seconds + 2];

/** What comes after the last question. */
function nextSteps() {
  const step = (words, act, main = false) => make("button", { type: "button", class: main ? "main" : null, onclick: act }, words);
  const signed = exam.record.exam.status === "signed";
  return make("p", { class: "buttons" }, signed ? null : step("Sign", openSigning, true), step("Write the impression", writeWords), step("Print", openPrinting),
    isOneOfMany ? step("Next exam", nextExam, signed) : null);
}

function bench() {
  const hand = atHand();
  const isTyping = document.activeElement?.id === "why";
  const { question, number, frame, call, utterance, span, shown } = hand;
  acts = {};
  if (!question && !frame && !call && !utterance) {
    fill(find("bench"), make("h2", {}, "Nothing is open"), make("p", {}, "Every question is settled. Choose a still or a phrase to look at it again."), nextSteps());
    return;
  }
  const title = question ? quoted(question.shown) : frame ? `Still ${number + 1}` : call ? `Call ${call.seq}` : `Utterance ${utterance.seq}`;
  const words = question ? SEVERITY[question.severity][1] : "Selected";
  const where = frame && frame.limb ? frame : call;
  fill(find("bench"),
    make("p", { class: "kicker" }, question ? kicker(question, words) : words),
    make("h2", {}, title),
    where && placeWords(exam, where) ? make("p", { class: "place" }, placeWords(exam, where), frame ? make("span", {}, `, ${statusWords(frame.status)}`, frame.doubt?.length ? ". " : "", doubtWords(frame)) : null) : null,
    heard(call, utterance, span, frame, question),
    noteHere(exam, call, settle),
    hand.together.length > 1 ? make("p", { class: "buttons" }, make("span", {}, "Also in this phrase:"), hand.together.slice(1).map((one) => make("button", { type: "button", onclick: () => go({ call: one.seq }) }, `call ${one.seq}: ${meaning(exam, one)}`))) : null,
    question || frame ? rivals(frame) : null,
    question ? alsoAsked(question) : null,
    buttons(hand),
    shown >= 0 ? make("div", { class: "stills-at-hand" }, stillsBeside(exam, shown, exam.record.frames[shown].rivals[0] ?? call), lamp()) : null,
    valuesHere(exam, where ?? exam.record.frames[shown], (row) => settle({ change: "take_back", seq: row.seq }, `Undone: ${row.term}`)),
    sinceLast(exam, where ?? exam.record.frames[shown]));
  if (span) showAt(span[0]);
  // Another browser's change draws the bench anew: nobody's typing ends by it.
  if (isTyping) find("why")?.focus();
}

/** Which question it is, and how much hangs on it; what only informs has no number. */
function kicker(question, words) {
  const number = current() < exam.questions.length ? `Question ${current() + 1} of ${exam.questions.length}. ` : "";
  const { concerns } = question;
  return `${number}${words}.${concerns > 1 ? ` Concerns ${concerns} calls and stills.` : ""}`;
}

/** How much is heard before a phrase, to know what it follows. */
const BEFORE_S = 5;

/** The words as heard, with the button that plays them. */
function heard(call, utterance, span, frame, question) {
  if (!span) return null;
  const playFrom = (from) => () => { if (question) listenedTo.add(identity(question)); play(from, span[1] + 0.3); };
  const words = utterance?.words ?? call?.words;
  const said = utterance ? wordsOf(utterance) : call ? wordsWithin(exam, call.span_s) : [];
  offer(" ", playFrom(span[0] - 0.3));
  return make("p", { class: "heard" },
    make("button", { type: "button", class: "main", onclick: () => acts[" "]() }, "Play ", key("Space")),
    make("button", { type: "button", onclick: offer("g", playFrom(span[0] - BEFORE_S)) }, `From ${BEFORE_S} s before `, key("G")),
    soundControls(),
    call?.added ? "added by hand" : words !== undefined ? make("q", {}, spoken(words || "no words", said)) : "what was said around this still",
    make("span", {}, ` at ${clock(span[0])}${call && frame ? `, call ${call.seq}` : ""}`));
}

function offer(name, act) { acts[name] = act; return act; }

/** The labels to choose between, each with its reason and its key. */
function rivals(frame) {
  if (!frame?.rivals.length) return null;
  return make("ol", { class: "rivals" }, frame.rivals.slice(0, 9).map((rival, idx) => {
    const name = String(idx + 1);
    const choose = offer(name, () => settle({ change: "pair", still: frame.id, seq: rival.call_seq }, `Still ${stillNumber(frame.id) + 1} is ${placeWords(exam, rival) || "without a place"}`));
    const call = callOf(rival.call_seq);
    return make("li", {}, make("button", { type: "button", onclick: choose }, key(name),
      make("strong", {}, placeWords(exam, rival) || "no place set"),
      make("span", {}, `${Math.round(rival.confidence * 100)} %: ${rival.reason}${call ? `; “${call.words}” at ${clock(call.span_s[0])}` : ""}`)));
  }));
}

function buttons({ question, number, frame, call }) {
  const row = [];
  const add = (name, words, act) => row.push(make("button", { type: "button", id: `do-${name}`, onclick: offer(name, act) }, `${words} `, key(name.toUpperCase())));
  if (frame?.refused) {
    add("h", `${[frame.patient.name, frame.patient.id].filter(Boolean).join(", ")} is this horse`, () => settle({ change: "same_horse", patient: frame.patient }, "Its stills are accepted"));
  }
  if (frame) {
    add("l", "Label by hand", () => correctStill(exam, number, change));
    add("t", "Trace or measure", async () => {
      const figure = document.querySelector("#bench figure.still");
      if (!figure?.querySelector("img")) { say("This still cannot be shown, so nothing can be traced on it.", true); return; }
      stopLoop();
      isTracing(true);
      traceOn(exam, frame, figure, { by: me, change, send, done: async (written) => {
        isTracing(false);
        bench();
        await load().catch((error) => say(error.message, true));
        // Whoever traces again already keeps the focus.
        if (!tracing) find("bench").focus();
        if (written) say(written);
      } });
      figure.scrollIntoView({ block: "start" });
    });
    const inReport = exam.key_stills.includes(number);
    // Whether it is a loop may not be known yet: the button then comes with the frames.
    const loopFrame = frame.frame_number ?? frameShown(frame.id);
    add("r", inReport ? "Leave out of the report" : "Add to the report", () => {
      const now = frameShown(frame.id);
      return settle({ change: "key_picture", still: frame.id, shown: !inReport, ...(now && !inReport ? { frame_number: now } : {}) },
        `Still ${number + 1} ${inReport ? "is left out of the report" : `is in the report${now ? `, frame ${now}` : ""}`}`);
    });
    if (inReport && loopFrame) add("v", "Show this frame in the report", () => settle({ change: "key_picture", still: frame.id, shown: true, frame_number: frameShown(frame.id) },
      `The report shows frame ${frameShown(frame.id)} of still ${number + 1}`));
    add("x", "Not part of the exam", () => settle({ change: "leave_out", still: frame.id }, `Still ${number + 1} is not part of the exam`));
  }
  if (call && exam.acts[call.seq]) {
    add("c", "Correct the call", () => correctCall(exam, call, change));
    if (MOVABLE.includes(call.kind)) add("m", "Move it in time", () => moveCall(exam, call, change));
    if (!call.withdrawn) add("w", "Withdraw the call", () => settle({ change: "withdraw", seq: call.seq }, `Call ${call.seq} is withdrawn`));
  }
  const alike = question ? together(question) : [];
  if (alike.length > 1) add("q", `Accept all ${alike.length} as they are`, () => acceptAll(alike));
  // Last and plain: what asks to be listened to is not waved through by the button that stands out.
  if (question) add("a", "Accept as it is", () => settle({ change: "looked", rule: question.rule, finding: question.text, ...finding(question) }, "Accepted", asItIs(question)));
  if (question) row.push(reasonLine());
  return make("p", { class: "buttons" }, row);
}

/** One line for the reason of whatever is done about the question; it may stay empty. Enter accepts. */
function reasonLine() {
  const line = make("input", { id: "why", maxlength: "200", autocomplete: "off", placeholder: "in a word, if you like", value: reason });
  line.addEventListener("input", () => { reason = line.value.trim(); });
  line.addEventListener("keydown", (event) => { if (event.key === "Enter" && !event.repeat) { event.preventDefault(); acts.a?.(); } });
  return make("label", { class: "why" }, "Why ", line);
}

/** The finding behind a question, as the record has it: a change must name what it answers. */
function finding(question) {
  const found = exam.record.findings.find((one) => one.rule === question.rule && one.message === question.text && (one.frame ?? null) === question.still && (one.place ?? null) === question.place);
  return { ...(found?.call_seq ? { seq: found.call_seq } : {}), ...(found?.frame ? { still: found.frame } : {}), ...(found?.place ? { place: found.place } : {}) };
}

/** Questions that one look answers: about the same call or still, or, where there is nothing to hear or see, of the same kind. */
function together(question) {
  const about = (one) => one.call_seq ? `call ${one.call_seq}` : one.still ? `still ${one.still}` : `rule ${one.rule}`;
  const list = exam.questions.includes(question) ? exam.questions : exam.informing;
  return list.filter((one) => about(one) === about(question));
}

/** They are listed before they are accepted, so that nothing is settled unseen. */
async function acceptAll(questions) {
  const place = current();
  try {
    const why = asItIs(questions[0]);
    for (const question of questions) await change({ change: "looked", rule: question.rule, finding: question.text, ...finding(question) }, why);
    reason = "";
  } catch (error) { say(error.message, true); await load().catch(() => {}); return; }
  const left = exam.questions.length;
  if (current() < 0) go(left ? { question: identity(exam.questions[Math.min(place, left - 1)]) } : null);
  say(`Accepted: ${questions.length} questions. ${left === 0 ? "Nothing is open any more." : `${counted(left, "question")} open.`}`);
}

/** The other questions that are answered with this one. */
function alsoAsked(question) {
  const others = together(question).filter((one) => one !== question);
  return others.length ? make("section", { class: "also", "aria-label": "Open at the same place" }, make("p", { class: "kicker" }, "Open at the same place:"), make("ul", {}, others.map((one) => make("li", {}, quoted(one.shown))))) : null;
}

/** What a person may move or add; the rest is tied to the moment it was said at. */
const MOVABLE = ["view", "value", "finding", "setting", "save"];

/** A call that was made and not heard, at the moment that is at hand. */
const addHere = () => addCall(exam, (exam && atHand().span?.[0]) ?? 0, change);

/** Undoes something; a signature is withdrawn only with the passphrase of a vet. */
async function takeBack(deed) {
  if (deed.kind !== "signature") { await settle({ change: "take_back", seq: deed.seq }, `Undone: ${deed.what}. Press Y to redo it`); return; }
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
  if (undone) settle({ change: "take_back", seq: undone.seq }, `Redone: ${undone.what}`); else say("There is nothing to redo.");
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
const writeWords = () => exam && wordsForm(exam, change);
find("words-open").addEventListener("click", writeWords);
find("call-add").addEventListener("click", addHere);
find("clock-open").addEventListener("click", () => correctClock(exam, change));
find("by").value = localStorage.getItem("by") ?? "";
find("by").addEventListener("change", () => { localStorage.setItem("by", me()); if (exam) stack(); namePeople().catch(() => {}); });

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
