// What people did to the exam, in words: the history, and what the keys for undo and redo would do.
import { make, placeTime, quoted } from "./make.js";

/** What was undone, and the undoing itself, count as nothing. */
const counts = (deed) => !deed.taken_back_by && !deed.takes_back;
/** It corrected or settled something; a value, words for the report and a signature do neither. */
export const isSettling = (deed) => counts(deed) && deed.kind === "change";

/** The last thing that this person did and that still counts. */
export const lastDeed = (exam, by) => exam.history.findLast((deed) => counts(deed) && deed.by === by);

/** What this person undid last, if nothing was done since; a signature is given anew, not redone. */
export function lastUndone(exam, by) {
  const at = (seq) => exam.history.find((deed) => deed.seq === seq);
  const undone = exam.history.findLast((deed) => deed.by === by && deed.takes_back && !deed.taken_back_by && !at(deed.takes_back)?.takes_back);
  if (!undone || (lastDeed(exam, by)?.seq ?? 0) > undone.seq) return null;
  const target = at(undone.takes_back);
  return !target || target.kind === "signature" ? null : { seq: undone.seq, what: target.what };
}

/** Everything that was done, newest first; `back` undoes one of them. */
export function deedTable(exam, back) {
  if (!exam.history.length) return make("p", {}, "Nothing has been changed yet.");
  const button = (deed) => make("button", { type: "button", "aria-label": `Undo: ${deed.what}`, onclick: () => back(deed) }, "Undo");
  return make("table", {},
    make("thead", {}, make("tr", {}, ["When", "Who", "What", "Why", ""].map((word) => word ? make("th", { scope: "col" }, word) : make("td", {})))),
    make("tbody", {}, exam.history.toReversed().map((deed) => make("tr", { class: deed.taken_back_by ? "gone" : null },
      make("td", {}, placeTime(deed.at, exam.record.exam.utc_offset_s)), make("td", {}, deed.by || "not named"),
      make("td", {}, deed.taken_back_by && !deed.takes_back ? "undone: " : "", quoted(deed.what)), make("td", {}, deed.why),
      make("td", {}, counts(deed) ? button(deed) : null)))));
}
