// Room for the still at hand: what stands above and below it, and a form beside it, take nothing from it.
import { find } from "./make.js";

/** A still takes the room that the question above it and the timeline below it leave. */
export function measureRoom(top = find("bench").getBoundingClientRect().top) {
  const glass = document.querySelector("#bench .glass")?.getBoundingClientRect();
  const line = find("line");
  const covered = getComputedStyle(line).position === "static" ? 0 : line.offsetHeight;
  if (glass) find("bench").style.setProperty("--room", `${innerHeight - covered - (glass.top - top) - 34}px`);
}

/** Brings what is at hand into view: its head, but first of all the whole still, which nothing covers. */
export function bringIntoView() {
  const { top } = find("bench").getBoundingClientRect();
  measureRoom(top);
  if (top < 0 || top > innerHeight / 3) find("bench").scrollIntoView({ block: "start" });
  document.querySelector("#bench .glass")?.scrollIntoView({ block: "nearest" });
}

/** The still beside or above the form that was just opened. */
export function bringBesideForm() {
  measureRoom();
  const glass = document.querySelector("#bench .glass");
  const [form, still] = [find("form"), glass?.getBoundingClientRect()];
  if (!still) return;
  const isBelow = form.getBoundingClientRect().width > innerWidth * 0.9;
  glass.scrollIntoView({ block: isBelow ? "start" : "nearest" });
}
