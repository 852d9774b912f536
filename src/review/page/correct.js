// Putting right: a form for a call, for a still's label, and for the scanner's clock.
import { make, find, fill, ask, clock, quoted, readNumber } from "./make.js";
import { placeWords } from "./still.js";
import { bringBesideForm } from "./room.js";
import { working } from "./running-tasks.js";

const PARTS = [["limb", "Limb", "limbs"], ["zone", "Zone", null], ["plane", "Plane", "planes"], ["structure", "Structure", "structures"]];

export function choice(name, label, options, value) {
  const list = make("select", { name, id: `f-${name}` }, make("option", { value: "" }, "not named"),
    options.map(([code, words]) => make("option", { value: code, selected: code === value }, words)));
  return make("p", { class: "field" }, make("label", { for: `f-${name}` }, label), list);
}

function zonesOf(exam, limb) {
  const limbs = exam.codes.limbs.filter((one) => !limb || one.code === limb);
  return [...new Set(limbs.flatMap((one) => one.zones))].map((zone) => [zone, zone]);
}

/** What limbs of this group have; without a limb everything. */
function structuresOf(exam, limb) {
  const group = exam.codes.limbs.find((one) => one.code === limb)?.group;
  const has = (one) => !group || !one.groups.length || one.groups.includes(group);
  return exam.codes.structures.filter(has).map((one) => [one.code, one.name]);
}

/** Fields for a place, and what tells them which limb counts where none is chosen, first `current`; zones and structures follow the limb. */
function placeFields(exam, place, current = place.limb) {
  const zone = make("div", { class: "cell" });
  const structure = make("div", { class: "cell" });
  const follow = (limb, zoneNow, structureNow) => {
    fill(zone, choice("zone", "Zone", zonesOf(exam, limb), zoneNow));
    fill(structure, choice("structure", "Structure", structuresOf(exam, limb), structureNow));
  };
  let stands = current;
  follow(place.limb || stands, place.zone, place.structure);
  const own = { zone, structure };
  const box = make("div", { class: "row" }, PARTS.map(([part, label, list]) => own[part]
    ?? make("div", { class: "cell" }, choice(part, label, exam.codes[list].map((one) => [one.code, one.name]), place[part]))));
  const again = () => {
    const now = (part) => box.querySelector(`[name=${part}]`).value;
    follow(now("limb") || stands, now("zone"), now("structure"));
  };
  box.querySelector("[name=limb]").addEventListener("change", again);
  return [box, (limb) => { if (limb !== stands) { stands = limb; again(); } }];
}

function readPlace(form, only = null) {
  const place = {};
  for (const [part] of PARTS) {
    const value = form.elements[part]?.value;
    if (value && (!only || value !== (only[part] ?? ""))) place[part] = value;
  }
  return place;
}

/** A form that is open now: a reload takes what was entered in it, and the page says so. */
const OPEN = "form";

/** Says what became of a form that was open when the page was loaded again. */
export function lostForm() {
  const left = JSON.parse(sessionStorage.getItem(OPEN) ?? "null");
  sessionStorage.removeItem(OPEN);
  if (!left) return null;
  return left.sent ? `“${left.title}” was being saved when the page reloaded: look under History of changes to see whether it is there.`
    : `“${left.title}” was open when the page reloaded. What you had entered is lost; none of it was saved.`;
}

/** What a form gives that is not done with when it was sent. */
export const STAY = "stay";

/** Opens the form; what `send` throws is shown in it, and the form stays. One that is `docked` leaves the still in view. */
export function openForm(title, lead, fields, send, words = "Save", { asksWhy = true, docked = false } = {}) {
  const dialog = find("form");
  dialog.classList.toggle("docked", docked);
  const wrong = make("p", { class: "wrong", role: "alert" });
  const reason = make("input", { name: "why", id: "f-why", maxlength: "500", placeholder: "one word is enough" });
  let [confirmed, changed, leaving] = [false, false, false];
  const main = make("button", { type: "submit", class: "main" }, words);
  const form = make("form", { method: "dialog" },
    make("h2", { id: "form-title" }, title), make("p", {}, lead), fields,
    asksWhy ? make("p", { class: "field" }, make("label", { for: "f-why" }, "Why"), reason) : "", wrong, make("div", { class: "under-way", role: "status" }),
    make("p", { class: "buttons" }, main,
      make("button", { type: "button", onclick: () => dialog.close() }, "Cancel")));
  // What is changed after that is another wish.
  form.addEventListener("input", () => { [confirmed, changed, leaving] = [false, true, false]; main.textContent = words; wrong.textContent = ""; });
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const mark = (sent) => sessionStorage.setItem(OPEN, JSON.stringify({ title, sent }));
    mark(asksWhy || words === "Sign");
    try { if (await send(form, reason.value, { confirmed }) !== STAY) dialog.close(); } catch (error) {
      // Seen once, it is confirmed by the same button.
      confirmed = error.confirm === true;
      main.textContent = confirmed ? `${words} anyway` : words;
      // Left meanwhile, it is no open form any more.
      if (dialog.open && form.isConnected) mark(false);
      wrong.textContent = error.message;
    }
  });
  sessionStorage.setItem(OPEN, JSON.stringify({ title, sent: false }));
  // Escape is next to what was typed: words that were not saved leave only on purpose.
  dialog.oncancel = (event) => {
    if (!changed || leaving) return;
    event.preventDefault();
    leaving = true;
    wrong.textContent = "This is not saved yet. Press Escape once more to leave without saving.";
  };
  dialog.addEventListener("close", () => sessionStorage.removeItem(OPEN), { once: true });
  fill(dialog, form);
  dialog.showModal();
  if (docked) bringBesideForm();
  (form.querySelector("[autofocus]") ?? form.querySelector("select, input, textarea")).focus();
}

/** Puts a call right: what it says, and where it belongs. */
export function correctCall(exam, call, done) {
  const act = exam.acts[call.seq];
  if (!act) return false;
  const own = act.kind === "view";
  const fields = [];
  if (act.kind === "value") fields.push(valueFields(exam, act));
  if (act.kind === "finding") fields.push(findingField(exam, act.term));
  const place = own ? act : call;
  fields.push(placeFields(exam, place, call.limb)[0]);
  const heard = call.added ? "Added by hand" : `Heard: “${call.words}”`;
  const lead = own ? `${heard}. A new place applies to everything said after it, up to the next new place.`
    : `${heard}. A place entered here moves this call only.`;
  openForm(`Correct call ${call.seq}`, lead, fields, async (form, why, sure) => {
    const right = own ? correctedView(act, form) : correctedAct(act, form);
    const elsewhere = own ? {} : readPlace(form, call);
    const [first, ...more] = [
      right && { change: "call", seq: call.seq, act: right },
      Object.keys(elsewhere).length && { change: "place", seq: call.seq, place: elsewhere },
    ].filter(Boolean);
    if (!first) throw new Error("You have not changed anything.");
    await done(first, `Call ${call.seq} is corrected`, why, { ...sure, more });
  }, "Save", { docked: true });
  return true;
}

/** Seconds since the start out of "1:02.5" or "62.5"; none where it is no time. */
function readTime(text) {
  const parts = /^(?:(\d+):)?(\d+(?:[.,]\d+)?)$/.exec(text.trim());
  return parts ? Number(parts[1] ?? 0) * 60 + Number(parts[2].replace(",", ".")) : null;
}

const SAMPLES_PER_S = 16000;
function readSample(form) {
  const at = readTime(form.elements.time.value);
  if (at === null) throw new Error("Enter the time as minutes and seconds, such as 1:02.5.");
  return Math.round(at * SAMPLES_PER_S);
}

/** The calls just before and just after a moment, and when each was said. */
function callsAround(exam, at, but) {
  const start = new Date(exam.record.exam.started_at);
  const when = (call) => (new Date(call.said_at) - start) / 1000;
  const calls = exam.record.calls.filter((call) => !call.withdrawn && call.seq !== but).toSorted((one, other) => when(one) - when(other));
  return { before: calls.findLast((call) => when(call) <= at), after: calls.find((call) => when(call) > at), when };
}

/** What was said just before and just after a moment, and the place that a call there would have. */
function neighbours(exam, at, but) {
  const { before, after, when } = callsAround(exam, at, but);
  const inWords = (call) => `“${call.words || "added by hand"}” at ${clock(when(call))}`;
  const place = before && placeWords(exam, before);
  return [place ? `Place then: ${place}.` : "No place was named before that.",
    before ? `Before it: ${inWords(before)}.` : "Nothing was said before it.", after ? `After it: ${inWords(after)}.` : "Nothing was said after it."].join(" ");
}

/** A moment of the exam; while it is typed, what was said around it is shown. `but` is the call that is moved; `moved` is given each moment. */
function timeField(exam, at, but = null, moved = () => {}) {
  const around = make("p", { class: "preview around", role: "status" });
  const show = (text) => {
    const moment = readTime(text);
    if (moment !== null) moved(moment);
    around.textContent = moment === null ? "Enter minutes and seconds, such as 1:02.5." : moment > exam.audio_s && exam.audio_s > 0 ? `The recording ends at ${clock(exam.audio_s)}.` : neighbours(exam, moment, but);
  };
  show(clock(at));
  return make("div", { class: "cell" }, make("p", { class: "field" }, make("label", { for: "f-time" }, "Time since the start"),
    make("input", { id: "f-time", name: "time", value: clock(at), required: true, maxlength: "12", autocomplete: "off", oninput: (event) => show(event.target.value) })), around);
}

/** Moves a call in time; what was heard stays where it lies in the sound. */
export function moveCall(exam, call, done) {
  const at = (new Date(call.said_at) - new Date(exam.record.exam.started_at)) / 1000;
  openForm(`Move call ${call.seq} in time`, `“${call.words || "Added by hand"}” is treated as if it had been said at that moment.`, [timeField(exam, at, call.seq)],
    (form, why, sure) => {
      const sample = readSample(form);
      return done({ change: "move", seq: call.seq, sample }, `Call ${call.seq} is moved to ${clock(sample / SAMPLES_PER_S)}`, why, sure);
    }, "Move", { docked: true });
}

const KINDS = [["view", "A new place"], ["value", "A value"], ["finding", "A finding"], ["save", "A still was saved"]];
const CLASSES = [["normal", "normal"], ["absent", "not found"], ["lesion", "lesion"], ["unremarkable", "unremarkable"], ["not_done", "not done"], ["quality", "image quality"]];

/** Adds a call that was made and not heard. */
export function addCall(exam, at, done) {
  const rest = make("div", { class: "fields" });
  const place = make("div", { class: "fields" });
  const limbAt = (moment) => callsAround(exam, moment).before?.limb;
  let [limb, stand] = [limbAt(at), () => {}];
  const put = (kind) => {
    fill(rest, kind === "value" ? valueFields(exam, { term: exam.codes.terms[0].term, amount: { number: "" } })
      : kind === "finding" ? make("div", { class: "row" }, make("div", { class: "cell" }, choice("class", "Type", CLASSES, "lesion")), findingField(exam, "")) : "");
    const [box, follow] = placeFields(exam, {}, limb);
    stand = follow;
    fill(place, make("p", { class: "hint" }, kind === "view" ? "This place applies from then on." : "Enter a place only if it differs from the current one."), box);
  };
  const kind = choice("kind", "What was called", KINDS, "view");
  kind.querySelector("option").remove();
  kind.querySelector("select").addEventListener("change", (event) => put(event.target.value));
  put("view");
  openForm("Add a call", "For something that was said but not heard, or not said at the time. It is treated as if it had been said then.",
    [make("div", { class: "row" }, make("div", { class: "cell" }, kind), timeField(exam, at, null, (moment) => { limb = limbAt(moment); stand(limb); })), rest, place], async (form, why, sure) => {
      const what = form.elements.kind.value;
      const named = readPlace(form);
      const act = { view: () => ({ kind: "view", ...named }), value: () => ({ kind: "value", ...readValue(form) }), save: () => ({ kind: "save" }),
        finding: () => ({ kind: "finding", class: form.elements.class.value, term: form.elements.finding.value.trim() }) }[what]();
      const elsewhere = what !== "view" && Object.keys(named).length ? named : undefined;
      const sample = readSample(form);
      await done({ change: "add", sample, act }, `The call is added at ${clock(sample / SAMPLES_PER_S)}`, why, { ...sure, place: elsewhere });
    }, "Add", { docked: true });
}

function readValue(form) {
  const amount = { number: readNumber(form.elements.number.value) };
  if (form.elements.unit.value) amount.unit = form.elements.unit.value;
  return { term: form.elements.term.value, amount };
}

/** What was seen, by the names that the program knows; another one is asked about. */
const findingField = (exam, term) => make("p", { class: "field cell" }, make("label", { for: "f-finding" }, "Seen"),
  make("input", { id: "f-finding", name: "finding", value: term, list: "f-findings", maxlength: "500", autocomplete: "off", required: true }),
  make("datalist", { id: "f-findings" }, exam.codes.findings.map((name) => make("option", { value: name }))));

/** What was measured, its number, and a unit that fits it. */
function valueFields(exam, act) {
  const { terms } = exam.codes;
  const units = (term) => (terms.find((one) => one.term === term)?.units ?? []).map((unit) => [unit, unit]);
  const unit = make("div", { class: "cell" });
  const bounds = make("span", { class: "hint", id: "f-bounds" });
  const putUnits = (term, value) => {
    fill(unit, choice("unit", "Unit", units(term), value ?? units(term)[0]?.[0]));
    const kind = terms.find((one) => one.term === term);
    bounds.textContent = kind ? `${kind.units.length ? "usually " : ""}${kind.min} to ${kind.max}${kind.bound_unit ? ` ${kind.bound_unit.replace("mm2", "mm²")}` : ""}` : "";
  };
  putUnits(act.term, act.amount.unit);
  const term = choice("term", "Measured", terms.map((one) => [one.term, one.term]), act.term);
  term.querySelector("select").addEventListener("change", (event) => putUnits(event.target.value));
  return make("div", { class: "row" }, make("div", { class: "cell" }, term),
    make("p", { class: "field cell" }, make("label", { for: "f-number" }, "Number"),
      make("input", { id: "f-number", name: "number", inputmode: "decimal", maxlength: "12", autocomplete: "off", value: String(act.amount.number), required: true, "aria-describedby": "f-bounds" }), bounds), unit);
}

/** The new place, where it is another one. */
function correctedView(act, form) {
  const place = readPlace(form);
  const same = PARTS.every(([part]) => (place[part] ?? "") === (act[part] ?? ""));
  return same ? null : { kind: "view", ...place };
}

function correctedAct(act, form) {
  if (act.kind === "value") {
    const { term, amount } = readValue(form);
    const same = term === act.term && amount.number === act.amount.number && amount.unit === act.amount.unit;
    // What was said with the number, such as the scale of a score, still holds for the same term.
    const kept = term === act.term ? act : { kind: "value" };
    return same ? null : { ...kept, term, amount };
  }
  if (act.kind === "finding") {
    const { unconfirmed, ...rest } = act;
    const term = form.elements.finding.value.trim();
    // Which findings say that nothing is wrong the program knows: another term may be none of them.
    const kind = act.class === "unremarkable" && term !== act.term ? { class: "lesion" } : {};
    return term === act.term && !unconfirmed ? null : { ...rest, term, ...kind };
  }
  return null;
}

/** Labels a still by hand. */
export function correctStill(exam, number, done) {
  const row = exam.record.frames[number];
  const place = row.limb ? row : row.rivals[0] ?? row;
  openForm(`Label still ${number + 1} by hand`, "The label is saved in the record; the file itself does not change.",
    placeFields(exam, place)[0], (form, why) => {
      const named = readPlace(form);
      return done({ change: "label", still: row.id, place: named }, `Still ${number + 1} is labelled: ${placeWords(exam, named)}`, why);
    }, "Save label", { docked: true });
}

/** Sets the scanner's clock by hand, with a look at what that would change. */
export function correctClock(exam, done) {
  const now = exam.record.clock;
  const input = make("input", { id: "f-offset", name: "offset", type: "number", min: "-3600", max: "3600", step: "0.1", required: true, value: now ? now.offset_s.toFixed(1) : "0" });
  const preview = make("p", { role: "status", class: "preview" });
  let asked = 0;
  const look = async () => {
    const mine = (asked += 1);
    if (!input.value) return;
    try {
      const effect = await (await ask(`api/clock?offset_s=${encodeURIComponent(input.value)}`)).json();
      if (mine !== asked) return;
      const lines = effect.changed.slice(0, 6).map((one) => `still ${one.number + 1}: ${placeWords(exam, one.before) || "no label"} becomes ${placeWords(exam, one.after) || "no label"}`);
      preview.textContent = effect.changed.length ? `Changes ${effect.changed.length} of ${exam.record.frames.length} stills: ${lines.join("; ")}${effect.changed.length > 6 ? "; and more" : ""}.` : "Changes the label of no still.";
    } catch (error) { preview.textContent = error.message; }
  };
  input.addEventListener("input", look);
  const lead = now ? `Now ${now.offset_s.toFixed(1)} s, give or take ${now.uncertainty_s.toFixed(1)} s: ${now.method}.` : "The clocks could not be matched.";
  openForm("The scanner's clock", `${lead} Enter how many seconds the scanner's clock is ahead of the exam's; use a minus if it is behind.`,
    [make("p", { class: "field" }, make("label", { for: "f-offset" }, "Seconds ahead"), input), preview],
    (form, why) => {
      const offset = Number(form.elements.offset.value);
      return done({ change: "clock", offset_s: offset }, `The scanner's clock is set to ${offset.toFixed(1)} s ahead`, why);
    }, "Set the clock");
  look();
}

/** Asks for whom the report is, in which form and on which paper, and opens it. */
export function printForm(signed) {
  const field = (name, label, options) => {
    const one = choice(name, label, options, options[0][0]);
    one.querySelector("option").remove();
    return make("div", { class: "cell" }, one);
  };
  const paper = field("paper", "Paper", [["a4", "A4"], ["letter", "Letter"]]);
  const form = field("form", "As", [["pdf", "a PDF"], ["html", "a page"]]);
  const reader = field("reader", "For", [["vet", "the vet"], ["owner", "the owner"], ["course", "the course over all exams"]]);
  const appendix = field("appendix", "Appendix", [["false", "without"], ["true", "with all stills and calls"]]);
  // Only the vet's report has one.
  reader.querySelector("select").addEventListener("change", (event) => { appendix.hidden = event.target.value !== "vet"; });
  // A page takes the paper of the printer.
  form.querySelector("select").addEventListener("change", (event) => { paper.hidden = event.target.value !== "pdf"; });
  openForm("Report of the exam as it is now", `For a vet with pictures and measurements, for the owner in plain words, or every measure over all exams of this horse. It opens in a new tab${signed ? "" : " and says that it is a draft, because the record is not signed"}.`,
    [make("div", { class: "row" }, reader, form, paper, appendix)], async (filled) => {
      const wanted = new URLSearchParams(["reader", "form", "paper", "appendix"].map((name) => [name, filled.elements[name].value]));
      const address = `api/report?${wanted}`;
      await working(filled.querySelector(".under-way"), "Making the report", ask(address, {}), "report");
      // Left meanwhile: nobody wants a tab any more.
      if (!filled.isConnected || !find("form").open) return STAY;
      // A browser lets a page open a tab only shortly after a key or click; later a person opens it.
      if (navigator.userActivation?.isActive === true) { window.open(address, "_blank", "noopener"); return null; }
      const link = make("a", { class: "main", id: "f-made", href: address, target: "_blank", rel: "noopener", onclick: () => find("form").close() }, "Open it");
      fill(filled, make("h2", { id: "form-title" }, "The report is ready"), make("p", { class: "buttons" }, link));
      link.focus();
      return STAY;
    }, "Make the report", { asksWhy: false });
}
