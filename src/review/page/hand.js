// What is at hand: the exam as it was last fetched, and what was chosen in it.
import { noteOf } from "./note.js";

export let exam = null;
export const takeExam = (fetched) => { exam = fetched; };
/** What lies on the bench: an open question by its identity, or a still, a call or an utterance that was chosen. */
export let at = JSON.parse(sessionStorage.getItem(`at ${location.pathname}`) ?? "null");
export const choose = (what) => { at = what; };
/** Somebody is tracing: the bench is not drawn anew under their hands. */
export let tracing = false;
export const markTracing = (now) => { tracing = now; document.body.classList.toggle("tracing-now", now); };

export const SEVERITY = { error: ["!!", "Wrong or lost"], warn: ["!", "Check"], info: ["i", "Note"] };

export const identity = (question) => [question.rule, question.call_seq ?? "", question.still ?? "", question.text].join("|");

export const stillNumber = (id) => exam.record.frames.findIndex((row) => row.id === id);

export const callOf = (seq) => exam.record.calls.find((call) => call.seq === seq);

/** Everything that may lie on the bench as a question: first what is open, then what only informs. */
export const asked = () => [...exam.questions, ...exam.informing];

export const current = () => asked().findIndex((question) => identity(question) === at?.question);

/** Questions that were listened to since the page was opened. */
export const listenedTo = new Set();

/** What was typed as the reason of the question at hand. */
export let reason = "";
export const giveReason = (words) => { reason = words; };

/** Why something is left as it is: in the person's words, else what is known of how it was looked at. */
export const asItIs = (question) => reason || (listenedTo.has(identity(question)) ? "as it is, after listening" : "as it is");

/** What is at hand, whatever way it was chosen: its question, still, call and stretch of sound. */
export function atHand() {
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

export const counted = (number, noun) => number === 1 ? `1 ${noun}` : `${number} ${noun}s`;
