// The values of the exam before this one at the same place, and what changed, in words.
import { make } from "./make.js";
import { amountWords } from "./units.js";

/** The values that are held against the earlier ones: what they are called, and which row tells their change. */
const VALUES = {
  area: { words: () => "area", change: "area_change", more: (by) => `${by.toFixed(1)} %`, up: "larger", down: "smaller" },
  lesion_area: { words: () => "lesion", change: "lesion_change", more: (by) => `${by.toFixed(1)} mm²`, up: "more", down: "less" },
  lesion_percent: { words: () => "share of the lesion", change: "lesion_percent_change", more: (by) => `${by.toFixed(1)} points`, up: "more", down: "less" },
  distance: { words: (row) => row.of, change: "distance_change", more: (by, exam, row) => amountWords(exam, row.of, by, row.unit), up: "more", down: "less" },
  score: { words: (row) => row.of, change: "score_change", more: (by) => `${Number(by.toFixed(1))}`, up: "more", down: "less" },
};
/** The term of a measure that is named otherwise. */
const TERM = { area: "area", lesion_area: "lesion area", lesion_percent: "lesion percent" };

const amount = (exam, row) => amountWords(exam, TERM[row.name] ?? row.of, row.value, row.unit);
const same = (one, other) => ["limb", "scheme", "zone", "structure", "of"].every((part) => one[part] === other[part]);
export const dayOf = (instant) => new Date(instant).toLocaleDateString("en-GB", { day: "numeric", month: "long", year: "numeric" });

/** How a value changed; `change` is the row that the program computed. */
function changed(exam, kind, change) {
  if (!change) return "not compared";
  if (change.value === undefined) return `not compared: ${change.why_not ?? change.word ?? "no reason is known"}`;
  const by = kind.more(Math.abs(change.value), exam, change);
  const words = Number.parseFloat(by) === 0 ? "unchanged" : `${by} ${change.value > 0 ? kind.up : kind.down}`;
  const over = change.over ? `; over the cut-off: ${change.over}` : "";
  return `${words}${over}${(change.cautions ?? []).map((caution) => `; caution: ${caution}`).join("")}`;
}

function line(exam, name, then, now) {
  const kind = VALUES[name];
  const what = kind.words(now ?? then);
  if (!now) return `${what} ${amount(exam, then)} then; no value now`;
  if (!then) return `${what} ${amount(exam, now)} now; no value then`;
  const change = exam.earlier.changes.find((row) => row.name === kind.change && same(row, now));
  return `${what} ${amount(exam, then)} then, ${amount(exam, now)} now: ${changed(exam, kind, change)}`;
}

/** What the last exam measured in this zone, of this structure where one is named; nothing where there is no such exam. */
export function sinceLast(exam, place) {
  if (!exam.earlier || !place?.limb || !place?.zone) return null;
  const here = (row) => row.limb === place.limb && row.zone === place.zone && (!place.structure || row.structure === place.structure)
    && row.value !== undefined && row.name in VALUES;
  const now = exam.record.measures.filter(here);
  const then = exam.earlier.measures.filter(here);
  const structures = [...new Set([...then, ...now].map((row) => row.structure))];
  const named = (code) => exam.codes.structures.find((one) => one.code === code)?.name ?? code;
  const of = (structure) => Object.keys(VALUES).flatMap((name) => {
    const own = (row) => row.structure === structure && row.name === name;
    const pairs = then.filter(own).map((before) => [before, now.find((row) => own(row) && same(row, before))]);
    const fresh = now.filter((row) => own(row) && !then.some((before) => own(before) && same(before, row))).map((row) => [undefined, row]);
    return [...pairs, ...fresh].map(([before, after]) => make("li", {}, line(exam, name, before, after)));
  });
  return make("section", { class: "since", "aria-labelledby": "since-title" },
    make("h3", { id: "since-title" }, `Since ${dayOf(exam.earlier.started_at)}, zone ${place.zone}`),
    structures.length ? structures.map((structure) => [make("p", { class: "place" }, named(structure)), make("ul", {}, of(structure))]).flat()
      : make("p", {}, `No value of ${place.structure ? `the ${named(place.structure)}` : "this zone"} in either exam.`));
}
