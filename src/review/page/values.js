// Every value of a zone side by side: what was said, typed and traced, by whom, and which of them counts.
import { make, clock } from "./make.js";
import { amountWords } from "./units.js";

/** The values at a place, of one structure where it names one; an entered one counts before a spoken one, what was written later before earlier. */
function valuesAt(exam, place) {
  const here = (row) => row.limb === place.limb && row.zone === place.zone && (!place.structure || row.structure === place.structure);
  // A value that puts another right stands in that one's row.
  const carried = new Set(exam.record.calls.flatMap((call) => call.corrected_by ?? []));
  const start = new Date(exam.record.exam.started_at);
  const said = exam.record.calls.filter((call) => call.kind === "value" && !call.withdrawn && call.number !== undefined && !carried.has(call.seq) && here(call)).map((call) => ({
    ...call, entered: false, how: call.added ? `added by hand, call ${call.seq}` : `said at ${clock((new Date(call.said_at) - start) / 1000)}, call ${call.seq}` }));
  const written = (exam.record.entries ?? []).filter(here).map((entry) => ({
    ...entry, entered: true, how: `${entry.traced ? "traced" : "typed"}${entry.by ? ` by ${entry.by}` : ""}${entry.scale_by_hand ? ", scale set by hand" : ""}` }));
  const all = [...said, ...written].sort((a, b) => a.entered - b.entered || a.seq - b.seq);
  const of = (row) => `${row.structure ?? ""} ${row.term}`;
  for (const row of all) row.counts = all.findLast((other) => of(other) === of(row)) === row;
  return all.sort((a, b) => of(a).localeCompare(of(b)));
}

/** A table of them; nothing where there is none. `back` takes an entered one back. */
export function valuesHere(exam, place, back) {
  if (!place?.limb || !place?.zone) return null;
  const rows = valuesAt(exam, place);
  if (!rows.length) return null;
  const named = (code) => exam.codes.structures.find((one) => one.code === code)?.name ?? code ?? "not named";
  return make("section", { class: "since values", "aria-labelledby": "values-title" },
    make("h3", { id: "values-title" }, `Values of zone ${place.zone}`),
    make("table", {},
      make("thead", {}, make("tr", {}, ["Structure", "What", "Value", "From", ""].map((word) => word ? make("th", { scope: "col" }, word) : make("td", {})))),
      make("tbody", {}, rows.map((row) => make("tr", { class: row.counts ? null : "gone" },
        make("td", {}, named(row.structure)), make("td", {}, row.term), make("td", {}, amountWords(exam, row.term, row.number, row.unit)),
        make("td", {}, row.how, row.counts ? "" : "; not used"),
        make("td", {}, row.entered ? make("button", { type: "button", "aria-label": `Undo: ${row.term} ${amountWords(exam, row.term, row.number, row.unit)}`, onclick: () => back(row) }, "Undo") : null))))));
}
