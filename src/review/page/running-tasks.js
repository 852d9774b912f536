// Long work: a line that says what is being done, and how much of it where it can be counted.
import { make } from "./make.js";

/** Work that is over sooner needs no line; and how often the program is asked what it does. */
const AFTER_MS = 400;
const AGAIN_MS = 300;

/** The line of one piece of work. Its words are heard by a screen reader, its counting is only seen. */
function line(words) {
  const said = make("span", {}, `${words} …`);
  const count = make("span", { class: "count", "aria-hidden": "true" });
  const bar = make("progress", { "aria-hidden": "true" });
  const node = make("p", { class: "running-task", "data-words": words }, said, count, bar);
  const show = (step) => {
    const now = step ? `${words}: ${step.words} …` : `${words} …`;
    if (said.textContent !== now) said.textContent = now;
    count.textContent = step?.of ? `${step.done} of ${step.of}` : "";
    if (step?.of) { bar.max = step.of; bar.value = step.done; } else bar.removeAttribute("value");
  };
  return { node, show };
}

/** Gives what `work` gives; while it goes on `place`, a live region, says what is being done. `kind` is how the program calls it. */
export async function working(place, words, work, kind = null) {
  let over = false;
  let shown = null;
  const look = async () => {
    if (over) return;
    if (!shown) {
      // Two of a kind, as when two changes follow each other quickly, share a line.
      if ([...place.children].some((node) => node.dataset.words === words)) { setTimeout(look, AGAIN_MS); return; }
      shown = line(words);
      place.append(shown.node);
    }
    if (kind) {
      try {
        const steps = await (await fetch("api/running-tasks")).json();
        if (!over) shown.show(steps.find((step) => step.kind === kind));
      } catch { /* What is asked for will say it. */ }
    }
    if (!over) setTimeout(look, AGAIN_MS);
  };
  const first = setTimeout(look, AFTER_MS);
  try { return await work; } finally {
    over = true;
    clearTimeout(first);
    shown?.node.remove();
  }
}
