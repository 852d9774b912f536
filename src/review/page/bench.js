// The bench: what is at hand with its sound, its stills and what can be done about it.
import { make, find, fill, me, say, clock, key, quoted } from "./make.js";
import { SEVERITY, asItIs, atHand, callOf, counted, current, exam, giveReason, identity, listenedTo, markTracing, reason, stillNumber, tracing } from "./hand.js";
import { stillsBeside, lamp, placeWords, statusWords, doubtWords } from "./still.js";
import { play, showAt, soundControls } from "./line.js";
import { moveCall, correctCall, correctStill } from "./correct.js";
import { sinceLast } from "./since.js";
import { traceOn } from "./trace.js";
import { valuesHere } from "./values.js";
import { meaning } from "./calls.js";
import { noteHere } from "./note.js";
import { spoken, wordsOf, wordsWithin } from "./spoken.js";
import { frameShown, stopLoop } from "./cine.js";

/** Keys that mean something for what is on the bench, with what they do. */
export let acts = {};

/** Draws what is at hand. `to` does what its buttons ask for: `go`, `settle`, `change`, `send`, `load`, and `next` when nothing is open. */
export function bench(to) {
  const hand = atHand();
  const isTyping = document.activeElement?.id === "why";
  const { question, number, frame, call, utterance, span, shown } = hand;
  acts = {};
  if (!question && !frame && !call && !utterance) {
    fill(find("bench"), make("h2", {}, "Nothing is open"), to.next());
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
    noteHere(exam, call, to.settle),
    hand.together.length > 1 ? make("p", { class: "buttons" }, make("span", {}, "Also in this phrase:"), hand.together.slice(1).map((one) => make("button", { type: "button", onclick: () => to.go({ call: one.seq }) }, `call ${one.seq}: ${meaning(exam, one)}`))) : null,
    question || frame ? rivals(frame, to) : null,
    question ? alsoAsked(question) : null,
    buttons(hand, to),
    shown >= 0 ? make("div", { class: "stills-at-hand" }, stillsBeside(exam, shown, exam.record.frames[shown].rivals[0] ?? call), lamp()) : null,
    valuesHere(exam, where ?? exam.record.frames[shown], (row) => to.settle({ change: "take_back", seq: row.seq }, `Undone: ${row.term}`)),
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
function rivals(frame, { settle }) {
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

function buttons({ question, number, frame, call, shown }, to) {
  const { settle, done, change, send, load } = to;
  const row = [];
  const add = (name, words, act) => row.push(make("button", { type: "button", id: `do-${name}`, onclick: offer(name, act) }, `${words} `, key(name.toUpperCase())));
  if (frame?.refused) {
    add("h", `${[frame.patient.name, frame.patient.id].filter(Boolean).join(", ")} is this horse`, () => settle({ change: "same_horse", patient: frame.patient }, "Its stills are accepted"));
  }
  if (frame) {
    add("l", "Label by hand", () => correctStill(exam, number, done));
    add("t", "Trace or measure", async () => {
      const figure = document.querySelector("#bench figure.still");
      if (!figure?.querySelector("img")) { say("This still cannot be shown, so nothing can be traced on it.", true); return; }
      stopLoop();
      markTracing(true);
      traceOn(exam, frame, figure, { by: me, change, send, done: async (written) => {
        markTracing(false);
        bench(to);
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
  // Its label may be what is wrong with the call, and it is on the screen.
  if (!frame && shown >= 0) add("l", `Label still ${shown + 1} by hand`, () => correctStill(exam, shown, done));
  if (call && exam.acts[call.seq]) {
    add("c", "Correct the call", () => correctCall(exam, call, done));
    if (MOVABLE.includes(call.kind)) add("m", "Move it in time", () => moveCall(exam, call, done));
    if (!call.withdrawn) add("w", "Withdraw the call", () => settle({ change: "withdraw", seq: call.seq }, `Call ${call.seq} is withdrawn`));
  }
  const alike = question ? together(question) : [];
  if (alike.length > 1) add("q", `Accept all ${alike.length} as they are`, () => acceptAll(alike, to));
  // Last and plain: what asks to be listened to is not waved through by the button that stands out.
  if (question) add("a", "Accept as it is", () => settle({ change: "looked", rule: question.rule, finding: question.text, ...finding(question) }, "Accepted", asItIs(question)));
  if (question) row.push(reasonLine());
  return make("p", { class: "buttons" }, row);
}

/** One line for the reason of whatever is done about the question; it may stay empty. Enter accepts. */
function reasonLine() {
  const line = make("input", { id: "why", maxlength: "200", autocomplete: "off", placeholder: "in a word, if you like", value: reason });
  line.addEventListener("input", () => { giveReason(line.value.trim()); });
  line.addEventListener("keydown", (event) => { if (event.key === "Enter" && !event.repeat) { event.preventDefault(); acts.a?.(); } });
  return make("label", { class: "why" }, "Why ", line);
}

/** The finding behind a question, as the record has it: a change must name what it answers. */
function finding(question) {
  const found = exam.record.findings.find((one) => one.rule === question.rule && one.message === question.text && (one.frame ?? null) === question.still && (one.place ?? null) === question.place);
  return { ...(found?.call_seq ? { seq: found.call_seq } : {}), ...(found?.frame ? { still: found.frame } : {}), ...(found?.place ? { place: found.place } : {}) };
}

/** Questions that one look answers: about the same call or still; where there is nothing to hear or see, of the same kind. */
function together(question) {
  const about = (one) => one.call_seq ? `call ${one.call_seq}` : one.still ? `still ${one.still}` : `rule ${one.rule}`;
  const isAlike = (one) => question.one_look && one.rule === question.rule;
  const list = exam.questions.includes(question) ? exam.questions : exam.informing;
  return list.filter((one) => about(one) === about(question) || isAlike(one));
}

/** They are listed before they are accepted, so that nothing is settled unseen; one act, so that one undoes it. */
function acceptAll(questions, { settle }) {
  const [first, ...more] = questions.map((one) => ({ change: "looked", rule: one.rule, finding: one.text, ...finding(one) }));
  return settle(first, `Accepted: ${counted(questions.length, "question")}`, asItIs(questions[0]), { more });
}

/** The other questions that are answered with this one. */
function alsoAsked(question) {
  const others = together(question).filter((one) => one !== question);
  return others.length ? make("section", { class: "also", "aria-label": "Accepted together with it" }, make("p", { class: "kicker" }, "Accepted together with it:"), make("ul", {}, others.map((one) => make("li", {}, quoted(one.shown))))) : null;
}

/** What a person may move or add; the rest is tied to the moment it was said at. */
const MOVABLE = ["view", "value", "finding", "setting", "save"];
