// How numbers and times are written. Everything arrives in °C, seconds and instants.
import { texts } from "./texts.js";

const stored = "nestmon.display";
let chosen = read();

function read() {
  try {
    return localStorage.getItem(stored);
  } catch {
    return null; // a browser that keeps nothing still shows everything
  }
}

// choose remembers fahrenheit or celsius for this device.
export function choose(display) {
  chosen = display;
  try {
    localStorage.setItem(stored, display);
  } catch {
    // as in read
  }
}

let site = { display: "celsius", timezone: "UTC" };
const formats = new Map();

// useSite takes the site's default unit and time zone.
export function useSite(s) {
  if (s.timezone !== site.timezone) formats.clear();
  site = s;
}

export const display = () => (chosen === "fahrenheit" || chosen === "celsius" ? chosen : site.display);
export const timezone = () => site.timezone;
export const unitSign = () => texts.units[display()];
export const degrees = (c) => (display() === "fahrenheit" ? c * 1.8 + 32 : c);

const fixed = (v, digits) => v.toLocaleString(texts.locale, { minimumFractionDigits: digits, maximumFractionDigits: digits }).replace("-", "−");

const inBoth = /([-+]?\d+(?:\.\d+)? °C) \(([-+]?\d+(?:\.\d+)? °F)\)/g;

// inScale begins with the scale of this device where the daemon says a temperature in both.
export const inScale = (text) => (display() === "fahrenheit" && text.includes("°C (") ? text.replace(inBoth, "$2 ($1)") : text);

export const temperatureNumber = (c) => fixed(degrees(c), 1);
export const temperature = (c) => `${fixed(degrees(c), 1)}\u00a0${unitSign()}`;
export const limitNumber = (c) => fixed(degrees(c), Math.abs(degrees(c) - Math.round(degrees(c))) < 0.05 ? 0 : 1);

const inMinutes = 2; // h, under which a length of time is written in minutes; ours, no source

const decimals = { "%": 0, ppm: 0, A: 2 }; // of the others 1

// quantity writes a value in the unit events carry.
export function quantity(value, unit) {
  if (unit === "C") return temperature(value);
  if (unit === "h" && value < inMinutes) return value * 60 < 0.5 ? texts.underMinute : texts.minute(Math.round(value * 60));
  return `${fixed(value, decimals[unit] ?? 1)}${unit ? `\u00a0${texts.unit[unit] ?? unit}` : ""}`;
}

function format(name, options) {
  if (!formats.has(name)) {
    let f;
    try {
      f = new Intl.DateTimeFormat(texts.locale, { ...options, timeZone: site.timezone });
    } catch {
      f = new Intl.DateTimeFormat(texts.locale, { ...options, timeZone: "UTC" });
    }
    formats.set(name, f);
  }
  return formats.get(name);
}

const clockOptions = { hour: "numeric", minute: "2-digit" };
const dateOptions = { weekday: "short", day: "numeric", month: "short" };

export const clock = (t) => format("clock", clockOptions).format(t);
// tick is a short time of day for an axis.
const tick = (t) => (t % 3600e3 === 0 ? format("hour", { hour: "numeric" }).format(t) : clock(t));
export const dateAndClock = (t) => format("both", { ...dateOptions, ...clockOptions }).format(t);
export const fullDate = (t) => format("full", { ...dateOptions, year: "numeric", ...clockOptions }).format(t);

const sameYear = (t, now) => format("year", { year: "numeric" }).format(t) === format("year", { year: "numeric" }).format(now);
// day and dayAndClock name the year where it is another than now's.
export const day = (t, now) => (sameYear(t, now) ? format("date", dateOptions) : format("dated", { ...dateOptions, year: "numeric" })).format(t);
export const dayAndClock = (t, now) => (sameYear(t, now) ? dateAndClock(t) : fullDate(t));

// axisTick is short, for an axis with a tick every so many seconds.
export function axisTick(t, every) {
  if (every >= 28 * 86400) return format("month", { month: "short", year: "numeric" }).format(t);
  const midnight = every >= 86400 || format("h23", { hour: "2-digit", minute: "2-digit", hourCycle: "h23" }).format(t) === "00:00";
  return midnight ? format("dayOfMonth", { month: "short", day: "numeric" }).format(t) : tick(t);
}

// moment writes a time of day, with the date unless it is less than half a day away.
export const moment = (t, now) => (Math.abs(now - t) < 12 * 3600e3 ? clock(t) : dateAndClock(t));

// span writes a length of time, rounded down, in one unit.
export function span(seconds) {
  const s = Math.max(0, Math.floor(seconds));
  if (s < 120) return texts.second(s);
  if (s < 2 * 3600) return texts.minute(Math.floor(s / 60));
  if (s < 2 * 86400) return texts.hour(Math.floor(s / 3600));
  return texts.days(Math.floor(s / 86400));
}

let still = null; // the instant that the page stands still at, as ms: what counts back from it is no age any more

// standStill is told when what is shown is not the present, and with null when it is again.
export function standStill(at) {
  still = at;
}

export const ago = (seconds) => (still !== null ? texts.at(moment(still - seconds * 1e3, still)) : seconds < 1 ? texts.justNow : texts.ago(span(seconds)));
