// How a limit is called, and a change of it.
import { texts } from "./texts.js";
import * as units from "./units.js";

const said = texts.settings.limits;

export const limitWords = (l) => said.name(said.places[l.place], said.keys[l.key], said.days(l.from, l.to));

export const changeWords = (i) => said.changed(limitWords(i), units.temperature(i.was_c), units.temperature(i.is_c), i.back);
