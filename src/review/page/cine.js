// Loops: one frame after the other by key, slider or play; what is measured is measured on the frame that is shown.
import { make, ask, key } from "./make.js";

/** What is known of each still's frames, and which one is shown, by the still's id. */
const known = new Map();
const shown = new Map();
let playing = 0;

/** The frame that is shown, counted from 1; none where the still is no loop. */
export const frameShown = (id) => (known.get(id)?.frames ?? 1) > 1 ? shown.get(id) ?? 1 : null;

/** The frame as part of a picture's address. */
export const frameQuery = (id) => frameShown(id) ? `&frame=${frameShown(id)}` : "";

/** Stops a loop that plays. */
export function stopLoop() {
  playing += 1;
  document.querySelectorAll(".loop-play").forEach((button) => { button.firstChild.textContent = "Play loop "; });
}

async function framesOf(id, number) {
  if (!known.has(id)) known.set(id, await (await ask(`api/loop/${number}`)).json());
  return known.get(id);
}

/** The picture has come, or will not. */
const arrived = (image) => new Promise((done) => {
  const over = () => done();
  image.addEventListener("load", over, { once: true });
  image.addEventListener("error", over, { once: true });
});

/** Controls for the frames below a picture; nothing for a single still. `first` is the frame that stands for the loop. */
export function loopControls(id, number, first, image, redraw) {
  const box = make("div", { class: "loop", role: "group", "aria-label": "Frames of the loop" });
  const build = ({ frames, per_s: perS }) => {
    if (frames < 2 || !box.isConnected) return;
    if (!shown.has(id)) shown.set(id, Math.min(frames, first ?? 1));
    const at = make("output", { class: "loop-at" });
    const slider = make("input", { type: "range", min: "1", max: String(frames), step: "1", "aria-label": "Frame" });
    const to = (frame) => {
      shown.set(id, Math.min(frames, Math.max(1, frame)));
      slider.value = String(shown.get(id));
      at.textContent = `frame ${shown.get(id)} of ${frames}`;
      redraw(image);
    };
    const step = (by) => { stopLoop(); to(shown.get(id) + by); };
    slider.addEventListener("input", () => { stopLoop(); to(Number(slider.value)); });
    const play = make("button", { type: "button", class: "loop-play" }, "Play loop ", key("F"));
    play.addEventListener("click", async () => {
      const wasPlaying = play.firstChild.textContent === "Stop loop ";
      stopLoop();
      if (wasPlaying) return;
      play.firstChild.textContent = "Stop loop ";
      const turn = playing;
      // As fast as the loop was made, or as fast as the frames come.
      while (turn === playing && image.isConnected) {
        const wait = new Promise((done) => { setTimeout(done, 1000 / perS); });
        const came = arrived(image);
        to(shown.get(id) >= frames ? 1 : shown.get(id) + 1);
        await Promise.all([came, wait]);
      }
    });
    const button = (words, name, by, label) => make("button", { type: "button", class: `loop-${name}`, "aria-label": label, onclick: () => step(by) }, `${words} `, key(name === "back" ? "," : "."));
    box.replaceChildren(button("◀", "back", -1, "Frame before"), play, button("▶", "next", 1, "Next frame"), slider, at);
    to(shown.get(id));
    // The controls take room above the picture, which is to stay whole.
    if (!document.querySelector(".trace")) image.closest(".glass").scrollIntoView({ block: "nearest" });
  };
  framesOf(id, number).then(build, () => {});
  return box;
}

/** The keys of the loop that is at hand. */
export const LOOP_KEYS = { ",": ".loop-back", ".": ".loop-next", f: ".loop-play" };
