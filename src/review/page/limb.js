// The limbs as tables: a row for each zone from the top down, a column for each plane.
import { make } from "./make.js";
import { amountWords } from "./units.js";

const SIGN = { still: "●", said: "◐", none: "○", left: "–" };

function state(row) {
  if (row.not_done) return ["left", "left out on purpose"];
  if (row.frames > 0) return ["still", row.frames === 1 ? "1 still" : `${row.frames} stills`];
  if (row.called || row.saves > 0) return ["said", row.saves > 0 ? "saved, no still found" : "called, no still"];
  return ["none", "not called yet"];
}

/** What is shown of a zone, and what comes before its number. */
const WORDS = { area: () => "", lesion_area: () => "lesion ", lesion_percent: () => "lesion ", distance: (row) => `${row.of} `, score: (row) => `${row.of ?? "score"} ` };
/** The term of a measure that is named otherwise. */
const TERM = { area: "area", lesion_area: "lesion area", lesion_percent: "lesion percent" };
const NORMAL = "normal (said)";

/** What is known of the size of each structure in a zone, and where it was traced. */
function measured(exam, limb, scheme, zone) {
  const rows = exam.record.measures.filter((row) => row.limb === limb && row.scheme === scheme && row.zone === zone
    && (row.value !== undefined || row.word === NORMAL) && row.name in WORDS);
  const structures = [...new Set(rows.map((row) => row.structure))];
  return structures.map((structure) => {
    const own = rows.filter((row) => row.structure === structure);
    const said = own.filter((row) => row.value !== undefined).map((row) => `${WORDS[row.name](row)}${amountWords(exam, TERM[row.name] ?? row.of, row.value, row.unit)}`);
    // What was called normal has no number, and none is shown.
    if (own.some((row) => row.word === NORMAL)) said.push(NORMAL);
    const people = [...new Set(own.filter((row) => row.how?.includes("traced")).flatMap((row) => row.by ?? []))];
    const hand = own.some((row) => row.scale_by_hand) ? ", scale set by hand" : "";
    const traced = own.some((row) => row.how?.includes("traced")) ? `, traced${people.length ? ` by ${people.join(" and ")}` : ""}${hand}` : "";
    return make("span", {}, make("strong", {}, structure), ` ${said.join(", ")}${traced}`);
  });
}

/** One drawing for each limb and scheme that the exam covers. */
export function limbDrawings(exam, open) {
  const groups = new Map();
  for (const row of exam.record.coverage) {
    const id = `${row.limb} ${row.scheme}`;
    if (!groups.has(id)) groups.set(id, []);
    groups.get(id).push(row);
  }
  return [...groups.values()].map((rows) => {
    const limb = exam.codes.limbs.find((one) => one.code === rows[0].limb);
    const planes = [...new Set(rows.map((row) => row.plane))];
    const zones = [...new Set(rows.map((row) => row.zone))];
    const name = (code) => exam.codes.planes.find((one) => one.code === code)?.name ?? code;
    const cell = (zone, plane) => {
      const row = rows.find((one) => one.zone === zone && one.plane === plane);
      if (!row) return make("td", {});
      const [kind, words] = state(row);
      const number = exam.record.frames.findIndex((one) => one.limb === row.limb && one.zone === zone && one.plane === plane);
      const inside = [make("span", { "aria-hidden": "true", class: "sign" }, SIGN[kind]), words];
      return make("td", { class: kind }, number >= 0
        ? make("button", { type: "button", onclick: () => open({ still: exam.record.frames[number].id }) }, inside)
        : make("span", {}, inside));
    };
    return make("table", { class: "limb" },
      make("caption", {}, make("strong", {}, limb?.name ?? rows[0].limb), make("span", {}, ` by ${rows[0].scheme}`)),
      make("thead", {}, make("tr", {}, make("th", { scope: "col" }, "Zone"), planes.map((plane) => make("th", { scope: "col" }, name(plane))), make("th", { scope: "col" }, "Measured"))),
      make("tbody", {}, zones.map((zone) => make("tr", {}, make("th", { scope: "row" }, zone), planes.map((plane) => cell(zone, plane)),
        make("td", { class: "sizes" }, measured(exam, rows[0].limb, rows[0].scheme, zone))))));
  });
}

/** The areas and lesions by zone as profiles, left limb to the left; drawn anew with every change. */
export function legs(exam) {
  return Array.from({ length: exam.legs }, (_, number) => make("img", {
    src: `api/leg/${number}?of=${exam.bytes}`, class: "leg",
    alt: "Areas by zone as profiles, left limb on the left, lesions as bars inside; the numbers are in the tables above",
  }));
}
