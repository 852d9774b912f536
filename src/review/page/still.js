// Stills: large, with the same view of the other limb beside them, and lit as wanted.
import { make, fill, clock } from "./make.js";

const light = { low: 0, high: 255, gain: 1 };

const STATUS = {
  spoken: "paired with a save call",
  context: "labelled from what was in force",
  hand: "put right by hand",
  left_out: "not part of the exam",
  ambiguous: "two readings",
  unlabelled: "no label",
};

export const statusWords = (status) => STATUS[status] ?? status;

/** A place in words: limb, zone, plane, structure. */
export function placeWords(exam, place) {
  const name = (list, code) => exam.codes[list].find((one) => one.code === code)?.name ?? code;
  const parts = [];
  if (place.limb) parts.push(name("limbs", place.limb));
  if (place.zone) parts.push(`zone ${place.zone}`);
  if (place.plane) parts.push(name("planes", place.plane));
  if (place.structure) parts.push(name("structures", place.structure));
  return parts.join(", ");
}

const address = (number) =>
  `/api/still/${number}?low=${Math.round(light.low)}&high=${Math.round(light.high)}&gain=${light.gain}`;

function figure(exam, number, heading) {
  const row = exam.record.frames[number];
  const label = placeWords(exam, row) || "no label yet";
  const image = make("img", { src: address(number), alt: `Still ${number + 1}: ${label}`, "data-still": String(number), draggable: "false" });
  const [width, height] = exam.still_px[number] ?? [];
  // Room is kept before the picture is there, so that nothing below it jumps.
  if (width) image.style.aspectRatio = `${width} / ${height}`;
  const frame = make("div", { class: "glass" }, image);
  image.addEventListener("error", () => fill(frame, make("p", {}, `Still ${number + 1} cannot be shown; its file is ${row.file}.`)));
  return make("figure", { class: "still" },
    make("p", { class: "over" }, heading),
    frame,
    make("figcaption", {},
      make("strong", {}, label),
      make("span", {}, `still ${number + 1}, at ${clock(exam.still_s[number])}, ${statusWords(row.status)}`)));
}

/** The still of the same view on the limb of the other side, if there is one. */
function opposite(exam, place) {
  const own = exam.codes.limbs.find((limb) => limb.code === place.limb);
  const other = own && exam.codes.limbs.find((limb) => limb.group === own.group && limb.side !== own.side);
  if (!other || !place.zone) return { limb: other, number: -1 };
  const fits = (row) => row.limb === other.code && row.zone === place.zone && (!place.plane || row.plane === place.plane);
  const exact = exam.record.frames.findIndex((row) => fits(row) && row.structure === place.structure);
  return { limb: other, number: exact >= 0 ? exact : exam.record.frames.findIndex(fits) };
}

/** The still beside its counterpart; `place` is what it is taken for while it has no label. */
export function twoStills(exam, number, place) {
  const row = exam.record.frames[number];
  const where = row.limb ? row : place ?? {};
  const { limb, number: twin } = opposite(exam, where);
  const side = twin >= 0
    ? figure(exam, twin, `Same view, ${limb.name}`)
    : make("div", { class: "still none" }, make("p", { class: "over" }, limb ? `Same view, ${limb.name}` : "Same view, other limb"),
        make("p", { class: "glass" }, limb && where.zone ? "No still of this view." : "Known once this still has a limb and a zone."));
  return make("div", { class: "two" }, figure(exam, number, "This still"), side);
}

/** Sliders for the light; they change how stills are shown, never the stills. */
export function lamp() {
  const redraw = () => document.querySelectorAll("img[data-still]").forEach((image) => { image.src = address(Number(image.dataset.still)); });
  const slider = (name, part, min, max, step) => {
    const input = make("input", { type: "range", min: String(min), max: String(max), step: String(step), value: String(light[part]) });
    input.addEventListener("change", () => { light[part] = Number(input.value); redraw(); });
    return make("label", {}, name, input);
  };
  const box = make("div", { class: "lamp", role: "group", "aria-label": "Window and gain" });
  const build = () => fill(box,
    slider("Black at", "low", 0, 200, 1), slider("White at", "high", 30, 255, 1), slider("Gain", "gain", 0.4, 3, 0.05),
    make("button", { type: "button", onclick: () => { Object.assign(light, { low: 0, high: 255, gain: 1 }); build(); redraw(); } }, "As stored"));
  build();
  return box;
}

/** Every still, small, in the order they were saved. */
export function stillCards(exam, open) {
  return exam.record.frames.map((row, number) => make("li", {},
    make("button", { type: "button", class: `card ${row.status}`, onclick: () => open({ still: row.id }) },
      make("img", { src: `/api/still/${number}`, alt: "", loading: "lazy" }),
      make("strong", {}, `${number + 1}. ${placeWords(exam, row) || "no label"}`),
      make("span", {}, statusWords(row.status)))));
}
