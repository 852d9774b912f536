// What people write for the report: whose horse it is and what the scan means, in their own words.
import { make } from "./make.js";
import { openForm } from "./correct.js";
import { dictated } from "./note.js";

/** Each part: its code, its label, and how many lines it may need. */
const PARTS = [["question", "Question or history", 2], ["impression", "Impression", 4], ["recommendation", "Recommendation", 3],
  ["owner", "Owner", 1], ["age", "Age", 1], ["breed", "Breed", 1], ["sex", "Sex", 1], ["microchip", "Microchip", 1], ["use", "Used for", 1]];

/** A report without one is signed only on purpose. */
export const hasImpression = (exam) => (exam.record.words ?? []).some((row) => row.part === "impression");

/** Opens the form; only what was changed is written, each part as a change of its own. */
export function wordsForm(exam, done) {
  const now = Object.fromEntries((exam.record.words ?? []).map((row) => [row.part, row.text]));
  const field = ([part, label, rows]) => make("p", { class: "field" }, make("label", { for: `f-${part}` }, label), rows > 1
    ? make("textarea", { id: `f-${part}`, name: part, rows: String(rows), maxlength: "4000", autofocus: part === "impression" ? "" : null }, now[part] ?? "")
    : make("input", { id: `f-${part}`, name: part, value: now[part] ?? "", maxlength: "200", autocomplete: "off" }));
  const lines = PARTS.filter(([, , rows]) => rows > 1).map(field);
  const offered = dictated(exam, PARTS.filter(([part]) => ["impression", "recommendation"].includes(part)));
  const facts = make("div", { class: "row" }, PARTS.filter(([, , rows]) => rows === 1).map(field));
  openForm("Impression and recommendation", "In your own words, as they appear on the first page of the report. Nothing is written for you; what you leave empty is left out.", [...offered, ...lines, facts], async (form) => {
    const changed = PARTS.map(([part]) => [part, form.elements[part].value.trim()]).filter(([part, text]) => text !== (now[part] ?? ""));
    if (!changed.length) throw new Error("You have not changed anything.");
    const [first, ...more] = changed.map(([part, text]) => ({ change: "words", part, text }));
    const names = PARTS.filter(([part]) => changed.some(([one]) => one === part)).map(([, label]) => label);
    await done(first, `Saved: ${names.join(", ").toLowerCase()}`, "", { more });
  }, "Save", { asksWhy: false });
}
