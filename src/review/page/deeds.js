// What people did to the exam, in words: the history, and what the keys for undo and redo would do.
import { make, placeTime, quoted } from "./make.js";

/** What was undone, and the undoing itself, count as nothing. */
const counts = (deed) => !deed.taken_back_by && !deed.takes_back;
/** It corrected or settled something; a value, words for the report and a signature do neither. */
export const isSettling = (deed) => counts(deed) && deed.kind === "change";

/** What one act wrote, as one deed: the words of its first line, and all its lines. */
function wholeAct(lines, what = lines[0].what) {
  const more = lines.length - 1;
  return { ...lines[0], what: more ? `${what}, and ${more} more` : what, seqs: lines.map((deed) => deed.seq) };
}

/** The last thing that this person did and that still counts. */
export function lastDeed(exam, by) {
  const last = exam.history.findLast((deed) => counts(deed) && deed.by === by);
  return last && wholeAct(exam.history.filter((deed) => deed.act === last.act && counts(deed)));
}

/** What this person undid last, if nothing was done since; a signature is given anew, not redone. */
export function lastUndone(exam, by) {
  const at = (seq) => exam.history.find((deed) => deed.seq === seq);
  const undone = exam.history.findLast((deed) => deed.by === by && deed.takes_back && !deed.taken_back_by && !at(deed.takes_back)?.takes_back);
  if (!undone || (lastDeed(exam, by)?.seqs.at(-1) ?? 0) > undone.seq) return null;
  const lines = exam.history.filter((deed) => deed.act === undone.act && deed.takes_back && !deed.taken_back_by);
  const target = at(lines[0].takes_back);
  return !target || target.kind === "signature" ? null : wholeAct(lines, target.what);
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
