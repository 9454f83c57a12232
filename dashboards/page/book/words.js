// How the book's things are called.
import { texts } from "../texts.js";
import * as units from "../units.js";

const said = texts.book;

export const whatWords = (what) => said.what[what] ?? what;
export const stepWords = (what) => said.step[what] ?? whatWords(what);
export const choiceWords = (field, value) => (field === "chore" ? texts.event[value] : field === "kind" ? texts.kind[value] : field === "season" ? texts.season[value] : said.choice[value]) ?? value;
export const fieldWords = (field, what) => said.fieldOf[`${what} ${field}`] ?? said.field[field] ?? field;

// litterTitle is who lies there: "Hazel, day 3, 7 of 8 kits".
export function litterTitle(l) {
  const words = [l.doe || said.litter(l.litter)];
  if (l.day !== null) words.push(l.kindled ? said.day(l.day) : said.bredDay(l.day));
  if (l.kindled && l.alive !== null) words.push(said.kits(l.alive, l.born));
  if (l.kindled && l.alive === null) words.push(said.uncounted);
  return words.join(" · ");
}

const zoned = (locale, options) => {
  try {
    return new Intl.DateTimeFormat(locale, { ...options, timeZone: units.timezone() });
  } catch {
    return new Intl.DateTimeFormat(locale, { ...options, timeZone: "UTC" });
  }
};

export const dayWords = (t) => zoned(texts.locale, { weekday: "short", day: "numeric", month: "short" }).format(t);
export const fullDay = (t) => zoned(texts.locale, { day: "numeric", month: "short", year: "numeric" }).format(t);

// dateOf is a date as the book takes it, in the site's zone.
export const dateOf = (t) => {
  const parts = Object.fromEntries(zoned("en-GB", { year: "numeric", month: "2-digit", day: "2-digit" }).formatToParts(t).map((p) => [p.type, p.value]));
  return `${parts.year}-${parts.month}-${parts.day}`;
};

// hourOf is the hour of the day there, 0 to 23.
export const hourOf = (t) => Number(zoned("en-GB", { hour: "2-digit", hourCycle: "h23" }).format(t));

const withYear = 300 * 86400e3; // ms after which a day without its year says too little; ours, no source

// whenWords says when an entry was, by the day alone where no more is known.
export function whenWords(e, now) {
  const t = Date.parse(e.at);
  if (Math.abs(now - t) > withYear) return fullDay(t);
  return e.day ? dayWords(t) : units.moment(t, now);
}
