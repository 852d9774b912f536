// The calls of the exam as a table, and what each of them says in words.
import { make, clock } from "./make.js";
import { placeWords } from "./still.js";
import { amountWords } from "./units.js";

/** Every call, in the order of time. */
export function callTable(exam, open) {
  const seconds = (instant) => (new Date(instant) - new Date(exam.record.exam.started_at)) / 1000;
  return make("table", {},
    make("thead", {}, make("tr", {}, ["Time", "Heard", "Meaning", "Place"].map((word) => make("th", { scope: "col" }, word)))),
    make("tbody", {}, exam.record.calls.map((call) => make("tr", { class: call.withdrawn ? "gone" : null },
      make("td", {}, clock(seconds(call.said_at))),
      make("td", {}, make("button", { type: "button", class: "words", onclick: () => open({ call: call.seq }) }, call.words || (call.added ? "added by hand" : "no words"))),
      make("td", {}, call.withdrawn ? "withdrawn: " : "", call.added ? "added: " : "", call.corrected_by?.length ? "corrected: " : "", meaning(exam, call)),
      make("td", {}, placeWords(exam, call))))));
}

/** What a call says, without its place. */
export function meaning(exam, call) {
  const amount = call.number === undefined ? "" : ` ${amountWords(exam, call.term, call.number, call.unit)}`;
  return `${[call.kind, call.degree, call.term].filter(Boolean).join(" ")}${amount}`.replace(/_/g, " ");
}
