// What else is in force: nests, probes, chores, ways out and this page, each with the line of the configuration that says so.
import { el } from "../dom.js";
import { texts } from "../texts.js";
import * as units from "../units.js";

const said = texts.settings.facts;

export function factsOf(s) {
  const group = (heading, rows) => el("details", {}, el("summary", { text: heading }), el("ul", { class: "facts-list" }, ...rows.map(([name, text, line]) =>
    el("li", {}, el("strong", { text: name }), el("span", { text }), el("small", { class: "quiet", text: line === undefined ? "" : line === null ? said.shipped : said.line(line) })))));
  const probes = (n) => [...n.cluster.map((p, i) => said.role(i === 0 ? texts.role.cluster : texts.role["cluster-2"], p)), ...[["air", n.air], ["co2", n.co2], ["cage", n.cage]].filter(([, p]) => p).map(([role, p]) => said.role(texts.role[role], p))];
  return [
    group(said.site, [[said.poll, units.span(s.poll_s), s.poll_line], [said.timezone, s.timezone], ...(s.altitude_m ? [[said.altitude, said.metres(s.altitude_m)]] : []), [said.outside, s.outside || texts.noProbe], [said.version, s.version]]),
    group(said.nests(s.nests.length), s.nests.map((n) => [n.id, [texts.kind[n.kind] ?? n.kind, n.lined ? said.lined : "", ...probes(n)].filter(Boolean).join(" · "), n.line])),
    group(said.probes(s.probes.length), s.probes.map((p) => [p.id, [p.measures.map((m) => texts.quantity[m] ?? m).join(", "), p.source, said.every(units.span(p.every_s)), said.stale(units.span(p.stale_s))].join(" · "), p.line])),
    group(said.chores, s.chores.filter((c) => c.values.length + c.names.length > 0).map((c) => [said.chore[c.key] ?? c.key, choreOf(c), c.line])),
    group(said.ways, [...s.channels.map((c) => [c, said.channel]), ...(s.channels.length === 0 ? [[said.nobody, texts.test.none]] : []), ...s.sinks.map((k) => [said.sink[k.name] ?? k.name, k.on ? said.on : said.off])]),
    group(said.page, [[said.address, s.page.address || said.noAddress], [said.tls, s.page.tls ? said.yes : said.no], [said.password, s.page.password ? said.yes : said.no], [said.view, s.page.closed ? said.closed : said.open]]),
  ];
}

const number = (v) => v.toLocaleString(texts.locale);

const degrees = ["below", "above", "damp"];

function part(chore, name, value) {
  const say = said.part[`${chore}.${name}`] ?? said.part[name];
  const shown = degrees.includes(name) ? units.temperature(value) : number(value);
  return say ? say(shown) : `${name} ${shown}`;
}

function choreOf(c) {
  if (c.values.length === 0) return c.names.map((n) => texts.event[n] ?? n).join(", ");
  if (c.names.length === 2 && c.names[0] === "from" && c.names[1] === "to") return said.window(number(c.values[0]), number(c.values[1]));
  if (c.names.length === 0) return said.day(number(c.values[0]));
  return c.names.map((n, i) => part(c.key, n, c.values[i])).join(", ");
}
