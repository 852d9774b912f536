// Stills: large, with the same view of the other limb beside them, and lit as wanted.
import { ask, make, fill, clock } from "./make.js";
import { frameQuery, loopControls } from "./cine.js";
import { lightByDrag, lightSliders, lit } from "./light.js";
import { dayOf } from "./since.js";

const SVG = "http://www.w3.org/2000/svg";

const STATUS = {
  spoken: "paired with a save call",
  context: "labelled with the place last called",
  hand: "corrected by hand",
  left_out: "not part of the exam",
  ambiguous: "two possible labels",
  unlabelled: "no label",
};

export const statusWords = (status) => STATUS[status] ?? status;

/** What speaks against a still's label; nothing where nothing does. The record leaves out what is empty. */
export const doubtWords = (row) => {
  if (row.refused) return make("em", { class: "doubt" }, `Not accepted: ${row.refused.replaceAll("`", "")}`);
  return row.doubt?.length ? make("em", { class: "doubt" }, `In doubt: ${row.doubt.join("; ")}`) : null;
};

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

const address = (number, from = "still", id = "") => `api/${from}/${number}?${lit()}${from === "still" ? frameQuery(id) : `&id=${encodeURIComponent(id)}`}`;

/** Shows a picture as it is lit now, and its frame. One that is still on its way is not overtaken: the newest follows it. */
function redrawOne(image) {
  const wanted = address(Number(image.dataset.still), image.dataset.from, image.dataset.id);
  if (image.getAttribute("src") === wanted) return;
  if (!image.complete) { image.addEventListener("load", () => redrawOne(image), { once: true }); return; }
  image.src = wanted;
}
const redraw = () => document.querySelectorAll("img[data-still]").forEach(redrawOne);

/** How near the stills at hand are looked at: all in step, so that the same part of each is seen. */
const NEAR_MAX = 8;
let near = { scale: 1, x: 0.5, y: 0.5 };

/** Shows every still at hand from as near; the point in the middle is kept as a share of width and height. */
function showNear(change) {
  near = { ...near, ...change };
  near.scale = Math.min(NEAR_MAX, Math.max(1, near.scale));
  const margin = 0.5 / near.scale;
  for (const axis of ["x", "y"]) near[axis] = Math.min(1 - margin, Math.max(margin, near[axis]));
  document.querySelectorAll(".stills-at-hand .glass img, .stills-at-hand .glass .drawn").forEach((image) => {
    image.style.transform = near.scale === 1 ? "" : `scale(${near.scale}) translate(${(0.5 - near.x) * 100}%, ${(0.5 - near.y) * 100}%)`;
  });
}

/** The wheel brings nearer what is under the pointer; a drag moves what is near. */
function bringNear(frame, image) {
  const isFree = () => !document.querySelector(".trace");
  // With the other button at any size; with the first one where there is nothing to move.
  lightByDrag(frame, (event) => isFree() && (event.button === 2 || event.button === 0 && near.scale === 1), redraw);
  image.addEventListener("load", () => showNear({}));
  frame.addEventListener("wheel", (event) => {
    if (!isFree() || !(event.ctrlKey || near.scale > 1 || event.shiftKey)) return;
    event.preventDefault();
    const box = frame.getBoundingClientRect();
    const [dx, dy] = [(event.clientX - box.left) / box.width - 0.5, (event.clientY - box.top) / box.height - 0.5];
    const scale = Math.min(NEAR_MAX, Math.max(1, near.scale * (event.deltaY < 0 ? 1.25 : 0.8)));
    const kept = (1 / near.scale - 1 / scale);
    showNear({ scale, x: near.x + dx * kept, y: near.y + dy * kept });
  }, { passive: false });
  frame.addEventListener("pointermove", (event) => {
    if (!isFree() || !(event.buttons & 1) || near.scale === 1) return;
    const box = frame.getBoundingClientRect();
    showNear({ x: near.x - event.movementX / box.width / near.scale, y: near.y - event.movementY / box.height / near.scale });
  });
}

/** Buttons for the same, for a keyboard and a finger. */
function nearButtons() {
  const button = (words, act) => make("button", { type: "button", onclick: act }, words);
  const by = 0.25;
  const go = (x, y) => () => showNear({ x: near.x + (x * by) / near.scale, y: near.y + (y * by) / near.scale });
  return make("div", { class: "near", role: "group", "aria-label": "Zoom both stills" },
    button("Larger", () => showNear({ scale: near.scale * 1.5 })), button("Smaller", () => showNear({ scale: near.scale / 1.5 })), button("Whole", () => showNear({ scale: 1, x: 0.5, y: 0.5 })),
    [["←", -1, 0, "left"], ["→", 1, 0, "right"], ["↑", 0, -1, "up"], ["↓", 0, 1, "down"]].map(([sign, x, y, way]) => make("button", { type: "button", "aria-label": `Move ${way}`, onclick: go(x, y) }, sign)));
}

/** The frame that a picture shows; none where it is no loop. */
const frameOn = (image) => { const found = /&frame=(\d+)/.exec(image.getAttribute("src")); return found ? Number(found[1]) : null; };

/** What was traced and set on a still, over its picture; nothing where nothing was. */
function drawnOn(exam, row) {
  const lines = exam.drawn?.[row.id];
  if (!lines?.length) return null;
  const sheet = document.createElementNS(SVG, "svg");
  for (const [name, value] of [["viewBox", "0 0 1 1"], ["preserveAspectRatio", "none"], ["class", "drawn"], ["role", "img"], ["aria-label", "What was traced and set on this still"]]) sheet.setAttribute(name, value);
  for (const line of lines) {
    const edge = document.createElementNS(SVG, line.closed ? "polygon" : "polyline");
    edge.setAttribute("points", line.corners.map((corner) => corner.join(",")).join(" "));
    sheet.append(edge);
  }
  return sheet;
}

/** A still of this exam; with `earlier`, one of the exam before it. */
function figure(exam, number, heading, earlier = null) {
  const row = (earlier ?? exam.record).frames[number];
  const label = placeWords(exam, row) || "no label yet";
  const from = earlier ? "earlier" : "still";
  const image = make("img", { src: address(number, from, row.id), alt: `Still ${number + 1}${earlier ? " of the earlier exam" : ""}: ${label}`, "data-still": String(number), "data-from": from, "data-id": row.id, draggable: "false" });
  const [width, height] = (earlier ? null : exam.still_px[number]) ?? [];
  // Room is kept before the picture is there, so that nothing below it jumps.
  if (width) image.style.aspectRatio = `${width} / ${height}`;
  const frame = make("div", { class: "glass" }, image);
  const lines = earlier ? null : drawnOn(exam, row);
  const follow = () => lines && (lines.style.display = [null, row.frame_number ?? 1].includes(frameOn(image)) ? "" : "none");
  if (lines) { frame.append(lines); image.addEventListener("load", follow); }
  bringNear(frame, image);
  image.addEventListener("error", async () => {
    const why = await ask(image.getAttribute("src")).then(() => "", (error) => error.message.replaceAll("`", ""));
    fill(frame, make("p", {}, `Still ${number + 1} cannot be shown${why ? `: ${why}` : ""}. Its file is ${row.file}.`));
  });
  const whole = make("figure", { class: "still" },
    make("p", { class: "over" }, heading),
    earlier ? null : loopControls(row.id, number, row.frame_number, image, redrawOne),
    frame,
    make("figcaption", {},
      make("strong", {}, label),
      make("span", {}, `still ${number + 1}, ${earlier ? "" : `at ${clock(exam.still_s[number])}, `}${statusWords(row.status)}`),
      doubtWords(row)));
  // As a property: the page's policy forbids styles in attributes.
  if (width) whole.style.setProperty("--wide", String(width / height));
  return whole;
}

/** The still of the same view on the limb of the other side, if there is one. */
function opposite(exam, place) {
  const own = exam.codes.limbs.find((limb) => limb.code === place.limb);
  const other = own && exam.codes.limbs.find((limb) => limb.group === own.group && limb.side !== own.side);
  return { limb: other, number: other ? sameView(exam.record.frames, { ...place, limb: other.code }) : -1 };
}

/** The still of this view among others; of the same structure, if there is one. */
function sameView(frames, place) {
  if (!place.limb || !place.zone) return -1;
  const fits = (row) => row.limb === place.limb && row.zone === place.zone && (!place.plane || row.plane === place.plane);
  const exact = frames.findIndex((row) => fits(row) && row.structure === place.structure);
  return exact >= 0 ? exact : frames.findIndex(fits);
}

const nothing = (heading, words) => make("div", { class: "still none" }, make("p", { class: "over" }, heading), make("p", { class: "glass" }, words));

/** The still beside the same view of the other limb and of the last exam; `place` is what it is taken for while it has no label. */
export function stillsBeside(exam, number, place) {
  const row = exam.record.frames[number];
  const where = row.limb ? row : place ?? {};
  const { limb, number: twin } = opposite(exam, where);
  const side = twin >= 0
    ? figure(exam, twin, `Same view, ${limb.name}`)
    : nothing(limb ? `Same view, ${limb.name}` : "Same view, other limb", limb && where.zone ? "No still of this view." : "Shown once this still has a limb and a zone.");
  return make("div", { class: "two" }, figure(exam, number, "This still"), side, exam.earlier ? lastTime(exam, where) : "");
}

function lastTime(exam, place) {
  const { earlier } = exam;
  const heading = `Same view, ${dayOf(earlier.started_at)}`;
  const number = sameView(earlier.frames, place);
  return number >= 0 ? figure(exam, number, heading, earlier) : nothing(heading, place.limb && place.zone ? "No still of this view in that exam." : "Shown once this still has a limb and a zone.");
}

/** How near the stills are looked at, and how they are lit. */
export const lamp = () => [nearButtons(), lightSliders(redraw),
  make("p", { class: "hint" }, "Drag over a picture: sideways for contrast, up and down for brightness; enlarged, with the right mouse button.")];

const cards = new Map();

/** Every still, small, in the order they were saved. A card stays the same element, so that its picture is fetched once. */
export function stillCards(exam, open) {
  return exam.record.frames.map((row, number) => {
    if (!cards.has(row.id)) {
      const small = make("img", { src: `api/thumb/${number}`, alt: "", loading: "lazy", decoding: "async", width: 176, height: 132 });
      small.addEventListener("error", () => small.replaceWith(make("span", { class: "unshown" }, "cannot be shown")), { once: true });
      const button = make("button", { type: "button" }, small, make("strong", {}), make("span", {}), make("span", {}), make("span", {}));
      cards.set(row.id, make("li", {}, button));
    }
    const card = cards.get(row.id);
    const [button] = card.children;
    button.className = `card ${row.status}${row.doubt?.length ? " doubted" : ""}`;
    button.onclick = () => open({ still: row.id });
    button.children[1].textContent = `${number + 1}. ${placeWords(exam, row) || "no label"}`;
    button.children[2].textContent = statusWords(row.status);
    button.children[4].textContent = exam.key_stills.includes(number) ? "in the report" : "";
    fill(button.children[3], doubtWords(row));
    return card;
  });
}
