// One unit for each term, wherever a number is shown: the one that reports use, too.

/** How many of the small unit are in one. */
const SIZE = { mm: 1, cm: 10, mm2: 1, cm2: 100 };
const KIND = { mm: "length", cm: "length", mm2: "area", cm2: "area" };
const WRITTEN = { mm2: "mm²", cm2: "cm²" };
/** How finely a number is known: more digits would be made up. */
const DECIMALS = { mm2: 1, cm2: 2, mm: 1, cm: 2, "%": 1 };

/** The number in the unit in which this term is shown, with that unit; as it is where the units are of another kind. */
export function inShownUnit(exam, term, number, unit) {
  const wanted = exam.codes.terms.find((one) => one.term === term)?.shown;
  if (!unit || !wanted || KIND[unit] === undefined || KIND[unit] !== KIND[wanted]) return [number, unit];
  return [(number * SIZE[unit]) / SIZE[wanted], wanted];
}

const text = (number, unit) => `${Number(number.toFixed(DECIMALS[unit] ?? 2))}${unit && unit !== "1" ? `\u00a0${WRITTEN[unit] ?? unit}` : ""}`;

/** A number with its unit as people read it. */
export const amountWords = (exam, term, number, unit) => text(...inShownUnit(exam, term, number, unit));
