// Why something could not be fetched, in words for a person: what the browser itself says of it is in its own language.
import { texts } from "./texts.js";

const lost = ["TypeError", "AbortError", "TimeoutError", "SyntaxError"]; // no answer, none in time, or half of one

export const why = (e) => (lost.includes(e.name) ? texts.whyOut : e.message);
