// The second screen: shows what the program sends, and sends nothing.
import { make, find, fill } from "./make.js";

const NEWS = { saved: "SAVED", alarm: "LOOK HERE", question: "YES OR NO?" };
/** Each state has a sign and words of its own, so that no meaning hangs on a colour. */
const STATES = { saved: ["●", "saved"], called: ["◐", "called, no save yet"], left_out: ["–", "left out"], open: ["○", "to come"] };

const unique = (all) => [...new Set(all)];

function map({ views }) {
  if (!views.length) return make("p", {}, "No limb has been called yet.");
  const zones = unique(views.map((view) => view.zone));
  const cell = (plane) => (zone) => {
    const view = views.find((one) => one.zone === zone && one.plane === plane);
    if (!view) return make("td", {});
    const [sign, words] = STATES[view.state];
    return make("td", { class: view.state }, make("span", { "aria-hidden": "true" }, sign), make("span", { class: "hidden" }, words));
  };
  return make("table", {},
    make("thead", {}, make("tr", {}, make("td", {}), zones.map((zone) => make("th", { scope: "col" }, zone)))),
    make("tbody", {}, unique(views.map((view) => view.plane)).map((plane) => make("tr", {}, make("th", { scope: "row" }, plane), zones.map(cell(plane))))));
}

function put(id, text) {
  if (find(id).textContent !== text) find(id).textContent = text;
}

/** What is asked or wrong; else what was understood last. */
function words(state) {
  if (state.is_over) return "The exam is over, or none has begun yet.";
  return state.question ?? state.alarm ?? (state.switch_off ? "The switch is off: nothing is acted on." : state.last);
}

function show(state) {
  put("label", state.label || "–");
  put("place", state.place);
  put("settings", state.settings);
  put("news", state.is_over ? "" : NEWS[state.news] ?? "");
  find("news").className = state.news ?? "";
  put("words", words(state));
  fill(find("map"), map(state));
  put("counts", `${state.saves} ${state.saves === 1 ? "save" : "saves"} called${state.stills === null ? "" : `, ${state.stills} ${state.stills === 1 ? "still" : "stills"} seen`}`);
  fill(find("lines"), state.lines.map((line) => make("li", {}, line)));
  put("cautions", state.cautions);
  put("gone", "");
  document.body.dataset.shown = "yes";
}

const news = new EventSource("api/news");
news.addEventListener("second-screen", (event) => show(JSON.parse(event.data)));
news.addEventListener("error", () => put("gone", "No connection: what is shown may be old. It comes back by itself while zonecall listens."));
