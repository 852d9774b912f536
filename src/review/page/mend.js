// Putting right: a form for a call, for a still's label, and for the scanner's clock.
import { make, find, fill, ask, quoted } from "./make.js";
import { placeWords } from "./still.js";

const PARTS = [["limb", "Limb", "limbs"], ["zone", "Zone", null], ["plane", "Plane", "planes"], ["structure", "Structure", "structures"]];

function choice(name, label, options, value) {
  const list = make("select", { name, id: `f-${name}` }, make("option", { value: "" }, "not named"),
    options.map(([code, words]) => make("option", { value: code, selected: code === value }, words)));
  return make("p", { class: "field" }, make("label", { for: `f-${name}` }, label), list);
}

function zonesOf(exam, limb) {
  const limbs = exam.codes.limbs.filter((one) => !limb || one.code === limb);
  return [...new Set(limbs.flatMap((one) => one.zones))].map((zone) => [zone, zone]);
}

/** Fields for a place; the zones follow the limb. */
function placeFields(exam, place) {
  const zone = make("div", { class: "cell" });
  const putZones = (limb, value) => fill(zone, choice("zone", "Zone", zonesOf(exam, limb), value));
  putZones(place.limb, place.zone);
  const box = make("div", { class: "row" }, PARTS.map(([part, label, list]) => part === "zone" ? zone
    : make("div", { class: "cell" }, choice(part, label, exam.codes[list].map((one) => [one.code, one.name]), place[part]))));
  box.querySelector("[name=limb]").addEventListener("change", (event) => {
    putZones(event.target.value, box.querySelector("[name=zone]").value);
  });
  return box;
}

function readPlace(form, only = null) {
  const place = {};
  for (const [part] of PARTS) {
    const value = form.elements[part]?.value;
    if (value && (!only || value !== (only[part] ?? ""))) place[part] = value;
  }
  return place;
}

/** Opens the form; what `send` throws is shown in it, and the form stays. */
function openForm(title, lead, fields, send, words = "Put right", asksWhy = true) {
  const dialog = find("form");
  const wrong = make("p", { class: "wrong", role: "alert" });
  const reason = make("input", { name: "why", id: "f-why", maxlength: "500", placeholder: "a word is enough" });
  const form = make("form", { method: "dialog" },
    make("h2", { id: "form-title" }, title), make("p", {}, lead), fields,
    asksWhy ? make("p", { class: "field" }, make("label", { for: "f-why" }, "Why"), reason) : "", wrong,
    make("p", { class: "buttons" }, make("button", { type: "submit", class: "main" }, words),
      make("button", { type: "button", onclick: () => dialog.close() }, "Cancel")));
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    try { await send(form, reason.value); dialog.close(); } catch (error) { wrong.textContent = error.message; }
  });
  fill(dialog, form);
  dialog.showModal();
  form.querySelector("select, input").focus();
}

/** Puts a call right: what it says, and where it belongs. */
export function mendCall(exam, call, change) {
  const act = exam.acts[call.seq];
  if (!act) return false;
  const own = act.kind === "view";
  const fields = [];
  if (act.kind === "value") {
    const terms = exam.codes.terms;
    const units = (term) => (terms.find((one) => one.term === term)?.units ?? []).map((unit) => [unit, unit]);
    const unit = make("div", { class: "cell" });
    const putUnits = (term, value) => fill(unit, choice("unit", "Unit", units(term), value));
    putUnits(act.term, act.amount.unit);
    const term = choice("term", "Measured", terms.map((one) => [one.term, one.term]), act.term);
    term.querySelector("select").addEventListener("change", (event) => putUnits(event.target.value));
    fields.push(make("div", { class: "row" }, make("div", { class: "cell" }, term),
      make("p", { class: "field cell" }, make("label", { for: "f-number" }, "Number"),
        make("input", { id: "f-number", name: "number", type: "number", step: "any", min: "0", value: String(act.amount.number), required: true })), unit));
  }
  if (act.kind === "finding") {
    fields.push(make("p", { class: "field" }, make("label", { for: "f-finding" }, "Seen"),
      make("input", { id: "f-finding", name: "finding", value: act.term, maxlength: "500", required: true })));
  }
  const place = own ? act : call;
  fields.push(placeFields(exam, place));
  const lead = own ? `Heard: “${call.words}”. A move carries everything that was said after it, up to the next one.`
    : `Heard: “${call.words}”. Another place here moves this call alone.`;
  openForm(`Put call ${call.seq} right`, lead, fields, async (form, why) => {
    if (own) { await change({ change: "call", seq: call.seq, act: { kind: "view", ...readPlace(form) } }, why); return; }
    const right = mendedAct(act, form);
    const elsewhere = readPlace(form, call);
    if (right) await change({ change: "call", seq: call.seq, act: right }, why);
    if (Object.keys(elsewhere).length) await change({ change: "place", seq: call.seq, place: elsewhere }, why);
    if (!right && !Object.keys(elsewhere).length) throw new Error("Nothing was changed in the form.");
  });
  return true;
}

function mendedAct(act, form) {
  if (act.kind === "value") {
    const amount = { number: Number(form.elements.number.value) };
    if (form.elements.unit.value) amount.unit = form.elements.unit.value;
    const same = form.elements.term.value === act.term && amount.number === act.amount.number && amount.unit === act.amount.unit;
    return same ? null : { kind: "value", term: form.elements.term.value, amount };
  }
  if (act.kind === "finding") {
    const { unconfirmed, ...rest } = act;
    const term = form.elements.finding.value.trim();
    return term === act.term && !unconfirmed ? null : { ...rest, term };
  }
  return null;
}

/** Labels a still by hand. */
export function mendStill(exam, number, change) {
  const row = exam.record.frames[number];
  const place = row.limb ? row : row.rivals[0] ?? row;
  openForm(`Label still ${number + 1} by hand`, "The label stands in the record beside the still; the file stays as it is.",
    placeFields(exam, place), (form, why) => change({ change: "label", still: row.id, place: readPlace(form) }, why), "Label it so");
}

/** Sets the scanner's clock by hand, with a look at what that would change. */
export function mendClock(exam, change) {
  const now = exam.record.clock;
  const input = make("input", { id: "f-offset", name: "offset", type: "number", step: "0.1", required: true, value: now ? now.offset_s.toFixed(1) : "0" });
  const preview = make("p", { role: "status", class: "preview" });
  let asked = 0;
  const look = async () => {
    const mine = (asked += 1);
    if (!input.value) return;
    try {
      const told = await (await ask(`/api/clock?offset_s=${encodeURIComponent(input.value)}`)).json();
      if (mine !== asked) return;
      const lines = told.changed.slice(0, 6).map((one) => `still ${one.number + 1}: ${placeWords(exam, one.before) || "no label"} becomes ${placeWords(exam, one.after) || "no label"}`);
      preview.textContent = told.changed.length ? `Changes ${told.changed.length} of ${exam.record.frames.length} stills: ${lines.join("; ")}${told.changed.length > 6 ? "; and more" : ""}.` : "Changes the label of no still.";
    } catch (error) { preview.textContent = error.message; }
  };
  input.addEventListener("input", look);
  const lead = now ? `Now ${now.offset_s.toFixed(1)} s, give or take ${now.uncertainty_s.toFixed(1)} s: ${now.method}.` : "The clocks could not be tied to each other.";
  openForm("The scanner's clock", `${lead} Seconds that the scanner's clock is ahead of the exam's; a minus where it is behind.`,
    [make("p", { class: "field" }, make("label", { for: "f-offset" }, "Seconds ahead"), input), preview],
    (form, why) => change({ change: "clock", offset_s: Number(form.elements.offset.value) }, why), "Set the clock");
  look();
}

/** Signs the record: what is open is listed first; the licence stands as it is entered. */
export function signForm(exam, by, sign) {
  const open = exam.questions.map((question) => make("li", {}, quoted(question.text)));
  const field = (name, label, value) => make("p", { class: "field cell" }, make("label", { for: `f-${name}` }, label),
    make("input", { id: `f-${name}`, name, value, required: true, maxlength: "200" }));
  openForm("Sign the record", open.length ? `Still open: ${open.length}. They stay open in what you sign.` : "Nothing is open.", [
    open.length ? make("ul", { class: "still-open", tabindex: "0", "aria-label": "Still open" }, open) : "",
    make("div", { class: "row" }, field("vet", "Name of the vet", by), field("licence", "Number of the licence", "")),
    make("p", {}, "Signing says that a licensed vet has looked at this record. The program cannot check a licence. What is changed afterwards makes a new draft."),
  ], (form) => sign(form.elements.vet.value, form.elements.licence.value), "Sign", false);
}
