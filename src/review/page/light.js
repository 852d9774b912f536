// How stills are lit: a window and a gain, by sliders or by a drag over the picture; the stills themselves never change.
import { make, fill } from "./make.js";

/** As stored; a reload keeps what was set. */
const STORED = { low: 0, high: 255, gain: 1 };
/** The narrowest window: fewer greys would show nothing but black and white. */
const SPAN_MIN = 20;
const light = { ...STORED, ...JSON.parse(sessionStorage.getItem("light") ?? "{}") };
let build = () => {};

/** The window as part of a picture's address. */
export const lit = () => `low=${Math.round(light.low)}&high=${Math.round(light.high)}&gain=${light.gain}`;

function set(change, redraw) {
  Object.assign(light, change);
  sessionStorage.setItem("light", JSON.stringify(light));
  redraw();
}

/** A window of this width around this middle, inside of 0 to 255. */
function windowOf(middle, span) {
  const width = Math.min(255, Math.max(SPAN_MIN, span));
  const at = Math.min(255 - width / 2, Math.max(width / 2, middle));
  return { low: at - width / 2, high: at + width / 2 };
}

/** A drag lights the picture: sideways the contrast, up and down the brightness. `isMeant` says whether a drag is one of these. */
export function lightByDrag(frame, isMeant, redraw) {
  let from = null;
  frame.addEventListener("contextmenu", (event) => event.preventDefault());
  frame.addEventListener("pointerdown", (event) => {
    if (event.pointerType === "touch" || !isMeant(event)) return;
    from = { x: event.clientX, y: event.clientY, middle: (light.low + light.high) / 2, span: light.high - light.low };
    frame.setPointerCapture(event.pointerId);
  });
  frame.addEventListener("pointermove", (event) => {
    if (!from) return;
    const box = frame.getBoundingClientRect();
    const [dx, dy] = [event.clientX - from.x, event.clientY - from.y];
    // A hand that only trembles changes nothing.
    if (Math.hypot(dx, dy) < 4) return;
    // To the right more contrast, upwards brighter; across the whole picture all greys there are.
    set(windowOf(from.middle + (dy / box.height) * 255, from.span - (dx / box.width) * 255), redraw);
    build();
  });
  const end = () => { from = null; };
  frame.addEventListener("pointerup", end);
  frame.addEventListener("pointercancel", end);
}

/** Sliders for the same, for a keyboard and a finger. */
export function lightSliders(redraw) {
  const slider = (name, part, min, max, step) => {
    const input = make("input", { type: "range", min: String(min), max: String(max), step: String(step), value: String(light[part]) });
    input.addEventListener("change", () => set({ [part]: Number(input.value) }, redraw));
    return make("label", {}, name, input);
  };
  const box = make("div", { class: "lamp", role: "group", "aria-label": "Window and gain" });
  build = () => fill(box,
    slider("Black at", "low", 0, 200, 1), slider("White at", "high", 30, 255, 1), slider("Gain", "gain", 0.4, 3, 0.05),
    make("button", { type: "button", onclick: () => { set(STORED, redraw); build(); } }, "As stored"));
  build();
  return box;
}
