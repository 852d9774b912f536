// Signing and taking a signature back: by a vet of the practice, whose passphrase opens the key.
import { make, quoted } from "./make.js";
import { choice, openForm } from "./correct.js";
import { hasImpression } from "./words.js";

const field = (name, label, kind = "text") => make("p", { class: "field cell" }, make("label", { for: `f-${name}` }, label),
  make("input", { id: `f-${name}`, name, type: kind, required: true, maxlength: "200", autocomplete: "off" }));

/** A choice between the vets of the practice; nobody is chosen beforehand, for who sits at the desk is often somebody else. */
function vetChoice(vets) {
  const list = choice("vet", "Vet", vets.map((vet) => [vet.name, vet.licence ? `${vet.name}, licence ${vet.licence}` : vet.name]), "");
  list.querySelector("option").textContent = "choose";
  list.querySelector("select").required = true;
  return make("div", { class: "cell" }, list);
}

/** What the form of a vet gives; the first vet of a practice gets a key here. */
const wish = (form) => ({ by: form.elements.vet.value.trim(), passphrase: form.elements.passphrase.value });

/** The fields of the first vet, who chooses a passphrase. */
const first = () => [make("div", { class: "row" }, field("vet", "Name of the vet"), field("licence", "Licence number")),
  make("div", { class: "row" }, field("passphrase", "New passphrase, several words", "password"), field("again", "The same again", "password")),
  make("p", { class: "hint" }, "This practice has no vet yet. The passphrase opens your key whenever you sign; it is stored nowhere and cannot be recovered. From then on only people whom you add with “zonecall people add” can correct at the desk; all others can look.")];

/** Without an impression the vet says that none is wanted: forgetting it is the usual reason. */
const impressionAsked = (exam) => hasImpression(exam) ? "" : make("p", { class: "check" },
  make("input", { type: "checkbox", id: "f-no-impression", name: "without", required: true }),
  make("label", { for: "f-no-impression" }, "No impression is written. Sign without one: none is wanted."));

const known = (vets) => [make("div", { class: "row" }, vetChoice(vets), field("passphrase", "Passphrase", "password"))];

/** Signs the record: what is open is listed first. */
export function signForm(exam, people, { begin, sign }) {
  const vets = people.filter((person) => person.can_sign);
  const open = exam.questions.map((question) => make("li", {}, quoted(question.shown)));
  openForm("Sign the record", open.length ? `Still open: ${open.length}. They stay open in what you sign.` : "Nothing is open.", [
    open.length ? make("ul", { class: "still-open", tabindex: "0", "aria-label": "Still open" }, open) : "",
    vets.length ? known(vets) : first(),
    impressionAsked(exam),
    make("p", {}, "By signing, a licensed vet confirms having reviewed this record. The program cannot check the licence. Any later change makes a new draft."),
  ].flat(), async (form, why, { confirmed } = {}) => {
    const asked = wish(form);
    if (form.elements.again && !confirmed) {
      if (form.elements.again.value !== asked.passphrase) throw new Error("The two passphrases differ. Type both again.");
      await begin({ name: asked.by, licence: form.elements.licence.value, passphrase: asked.passphrase });
    }
    await sign({ ...asked, confirmed: confirmed === true, no_impression: form.elements.without?.checked === true });
  }, "Sign", { asksWhy: false });
}

/** Withdraws a signature: a vet's act, like signing. */
export function unsignForm(deed, people, send) {
  openForm("Withdraw the signature", `${deed.what}, by ${deed.by}. The record becomes a draft; the history keeps the signature and who withdrew it.`,
    known(people.filter((person) => person.can_sign)), (form) => send(wish(form)), "Withdraw", { asksWhy: false });
}

/** Who signed, and whether that still holds. */
export function signedWords(status, signed, when) {
  const who = `${signed.by}, licence ${signed.licence}, ${when}`;
  if (status === "signed") return `by ${who}.`;
  if (signed.taken_back_by) return `The signature of ${who}, was withdrawn.`;
  return `Changed since it was signed by ${who}; ${signed.changes_since === 1 ? "1 change" : `${signed.changes_since} changes`} since.`;
}
