// The exam for other systems: asks in which form, has it made, and says where it lies.
import { make, find, fill, ask } from "./make.js";
import { choice, openForm, STAY } from "./correct.js";
import { working } from "./running-tasks.js";

const FORMS = [["dicom", "DICOM, for the image archive"], ["labelled", "copies with labels, for a referring vet"], ["teaching", "copies for teaching, without names"],
  ["fhir", "FHIR, for a record system"], ["csv", "a table"], ["json", "the whole record, for programs"], ["vtt", "captions of the sound"], ["audio", "the sound with its calls marked"]];
export const NAMES = [["agreed", "as the stills have it, if the exam agrees"], ["stills", "as the stills have it"], ["exam", "as the exam has it"]];

export function field(name, label, options) {
  const one = choice(name, label, options, options[0][0]);
  one.querySelector("option").remove();
  return make("div", { class: "cell" }, one);
}

export function exportForm() {
  const form = field("form", "As", FORMS);
  const identity = field("identity", "The horse's name", NAMES);
  // Only these two go under one name.
  form.querySelector("select").addEventListener("change", (event) => { identity.hidden = !["dicom", "fhir"].includes(event.target.value); });
  openForm("Export the exam as it is now", "The files go into the folder “out” of the exam. Stills, sound and journal stay as they are; until a vet has signed, each file says that it is a draft.",
    [make("div", { class: "row" }, form), make("div", { class: "row" }, identity)], async (filled) => {
      const wanted = { form: filled.elements.form.value, identity: filled.elements.identity.value };
      const answer = await working(filled.querySelector(".under-way"), "Exporting", ask("api/export", wanted), "export");
      const made = await answer.json();
      if (!filled.isConnected || !find("form").open) return STAY;
      const close = make("button", { type: "button", class: "main", id: "f-exported", onclick: () => find("form").close() }, "Close");
      fill(filled, make("h2", { id: "form-title" }, "The exam is exported"), made.said.split("\n").map((line) => make("p", {}, line)), make("p", { class: "buttons" }, close));
      close.focus();
      return STAY;
    }, "Export", { asksWhy: false });
}

find("export-open").addEventListener("click", exportForm);
