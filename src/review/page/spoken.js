// What was said, word by word, where the ear noted when each word began; else the phrase as a whole.
import { make } from "./make.js";

/** The words of an utterance, each from its beginning to that of the next one; none where their times are not known. */
export function wordsOf(utterance) {
  const words = utterance.words.split(" ");
  const { word_s: starts, span_s: [, end] } = utterance;
  return starts.length === words.length ? words.map((text, idx) => ({ text, from: starts[idx], to: starts[idx + 1] ?? end })) : [];
}

/** The words of a call, from the utterances that it was said in. */
export const wordsWithin = (exam, [from, to]) => exam.utterances.filter((one) => one.span_s[0] < to && one.span_s[1] > from)
  .flatMap(wordsOf).filter((word) => word.from >= from - 0.01 && word.from < to - 0.01);

/** A text with each of its words in an element of its own, if it ends in these words; else as it is. */
export function spoken(text, said) {
  const words = said.map((word) => word.text).join(" ");
  if (!said.length || !text.endsWith(words)) return [text];
  const before = text.slice(0, text.length - words.length);
  return [before, ...said.flatMap((word, idx) => [idx ? " " : "", make("span", { class: "word", "data-from": String(word.from), "data-to": String(word.to) }, word.text)])].filter((part) => part !== "");
}

/** The word in an element that is said at this second of the exam. */
export const wordAt = (node, at) => [...node.querySelectorAll(".word")].find((word) => at >= Number(word.dataset.from) && at < Number(word.dataset.to));
