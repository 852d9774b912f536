// The words of a free note: a machine's draft, which a person confirms or corrects while listening.
import { make } from "./make.js";

/** What was typed and is not saved yet, by the note's line: the bench may be drawn anew meanwhile. */
const typed = new Map();

/** The note that this call opened. */
export const noteOf = (exam, call) => call?.kind === "note" ? exam.record.notes?.find((note) => note.call_seq === call.seq) : undefined;

/** What its words are worth. */
function standing(words) {
  if (!words) return "Kept as sound only. Listen, and type what was said.";
  if (words.status === "read") return `Read by ${words.by}.`;
  if (!words.text) return "Draft, not yet read by anyone: no words were found. Listen, and type what was said.";
  const unsure = words.unsure?.length ? ` Not sure of ${words.unsure.map((word) => `“${word}”`).join(", ")}.` : "";
  return `Draft, not yet read by anyone; it mishears names, numbers and terms.${unsure}${words.cut ? " Its end is missing." : ""}`;
}

/** The words beside the sound; what is in the field counts once it is confirmed. */
export function noteHere(exam, call, settle) {
  const note = noteOf(exam, call);
  if (!note) return null;
  const { words, call_seq: seq } = note;
  if (words?.status === "read" && typed.get(seq) === words.text) typed.delete(seq);
  const field = make("textarea", { id: "note-text", rows: "3", maxlength: "4000", "aria-describedby": "note-standing" }, typed.get(seq) ?? words?.text ?? "");
  field.addEventListener("input", () => typed.set(seq, field.value));
  const confirm = () => {
    const text = field.value.trim();
    typed.set(seq, text);
    return settle({ change: "note_text", seq, text }, "The words of the note are confirmed");
  };
  return make("div", { class: "note" },
    make("label", { for: "note-text" }, note.conclusion ? "Words of the conclusion" : "Words of the note"),
    make("p", { id: "note-standing" }, standing(words)), field,
    make("p", { class: "buttons" }, make("button", { type: "button", id: "note-confirm", onclick: confirm }, "I have listened: these are the words")));
}

/** Conclusions that were dictated, each to be put into a part of the report; nothing is taken before somebody presses. */
export function dictated(exam, parts) {
  const said = (exam.record.notes ?? []).filter((note) => note.conclusion && note.words?.text);
  const put = (text, part) => {
    const field = document.getElementById(`f-${part}`);
    field.value = [field.value.trim(), text].filter(Boolean).join("\n");
    field.dispatchEvent(new Event("input", { bubbles: true }));
    field.focus();
  };
  return said.map(({ call_seq: seq, words }) => make("div", { class: "note", id: `dictated-${seq}` },
    make("p", {}, words.status === "draft" ? "Dictated, a draft that nobody has read yet: " : `Dictated, read by ${words.by}: `, make("q", {}, words.text)),
    make("p", { class: "buttons" }, parts.map(([part, label]) => make("button", { type: "button", onclick: () => put(words.text, part) }, `Put into ${label}`)))));
}
