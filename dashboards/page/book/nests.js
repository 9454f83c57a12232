// Every nest, with what is done there most: somebody looked in, and all is well.
import { el, keyed, setClass, setText } from "../dom.js";
import { texts } from "../texts.js";
import * as units from "../units.js";
import { way } from "../ways.js";
import { litterOf } from "./data.js";
import { openForm } from "./form.js";
import { now, press, queue } from "./queue.js";
import { litterTitle, stepWords } from "./words.js";

const said = texts.book;
const stepsAtHand = 2; // the others are in the litter's own view

export const rows = (book) => book.nests.map((n) => ({ ...n, kit: n.kits && litterOf(n.kits), due: n.carried && litterOf(n.carried) }))
  .map((n) => ({ ...n, group: n.kit ? "kits" : n.due ? "due" : "empty" }));

const order = ["kits", "due", "empty"];

// updateNests shows those nests, with kits first.
export function updateNests(list, nests) {
  const sorted = [...nests].sort((a, b) => order.indexOf(a.group) - order.indexOf(b.group)); // stable: equals stay as configured
  keyed(list, sorted, (n) => n.nest, makeNest, updateNest);
}

const shown = new WeakMap();

function makeNest(n) {
  const li = el("li", { class: "nestrow", id: `book-${n.nest}` }, el("p", { class: "title" }, el("a"), el("span")), el("p", { class: "quiet" }), el("div", { class: "buttons" }), el("ul", { class: "onway" }));
  li.querySelector(".buttons").addEventListener("click", (e) => {
    const button = e.target.closest("button");
    const deed = button && deeds(shown.get(li)).find((d) => d.key === button.dataset.key);
    deed?.does();
  });
  return li;
}

function updateNest(li, n) {
  shown.set(li, n);
  const [title, facts, buttons, onway] = li.children;
  const [link, who] = title.children;
  const l = n.kit || n.due;
  link.setAttribute("href", l ? way("book", "litter", String(l.litter)) : way("book", "nest", n.nest));
  setText(link, n.nest);
  setText(who, l ? litterTitle(l) : said.empty);
  const words = [];
  const mine = queue.items.filter((i) => i.nest === n.nest);
  const waiting = mine.filter((i) => i.state === "waiting").at(-1);
  if (waiting) words.push(said.onWay(said.queue.waiting, waiting.what.replace(`${n.nest} – `, ""), units.moment(Date.parse(waiting.on), now()))); // in the same line: nothing may move
  else if (n.kit) words.push(n.looked ? said.looked(units.moment(Date.parse(n.looked), now())) : said.neverLooked);
  if (n.kit && n.due) words.push(said.alsoBred(litterTitle(n.due)));
  if (n.due?.noticed && !n.kit) words.push(noticedWords(n.due));
  if (n.indoors) words.push(said.indoors);
  if (l && !n.kit && l.stands && !l.noticed && !waiting) words.push(l.stands);
  setText(facts, words.join(" · "));
  keyed(onway, mine.filter((i) => i.state === "refused"), (i) => i.key, () => el("li"), (item, i) => {
    setClass(item, `is-${i.state}`);
    setText(item, said.onWay(said.queue[i.state], i.what, units.moment(Date.parse(i.on), now())));
  });
  setClass(li, `nestrow is-${n.group}`);
  keyed(buttons, deeds(n), (d) => d.key, () => el("button", { type: "button" }), (b, d) => {
    setText(b, d.words);
    setClass(b, d.strong ? "take" : "");
    b.dataset.key = d.key;
    b.setAttribute("aria-label", `${n.nest}: ${d.words}`);
  });
}

function deeds(n) {
  if (n.kit) return lookDeeds(n.nest, n.kit);
  if (!n.due) return [{ key: "bred", words: stepWords("bred"), does: () => openForm({ kind: "entry", what: "bred", nest: n.nest }) }];
  if (n.due.noticed) return [kindledDeed(n), lossesDeed(n.nest, n.due)];
  return n.due.steps.slice(0, stepsAtHand).map((what, i) => ({ key: what, words: stepWords(what), strong: i === 0 && (what === "kindled"), does: () => openForm({ kind: "entry", what, litter: n.due.litter, nest: n.nest }) }));
}

// lookDeeds are the two commonest entries.
export const lookDeeds = (nest, l) => [
  { key: "well", words: said.allWell, strong: true, does: () => lookedWell(nest, l) },
  lossesDeed(nest, l),
];

const lossesDeed = (nest, l) => ({ key: "losses", words: said.lossesButton, does: () => openForm({ kind: "losses", what: "lost", litter: l.litter, nest }) });

const kindledDeed = (n) => ({ key: "kindled", words: stepWords("kindled"), strong: true, does: () => openForm({ kind: "entry", what: "kindled", litter: n.due.litter, nest: n.nest }) });

// noticedWords says of a kindling that nobody has entered that it seems to have been.
export const noticedWords = (l) => said.noticed(units.day(Date.parse(l.noticed), now()));

function lookedWell(nest, l) {
  press({ rows: [{ what: "did", chore: "inspect-due", nest, litter: String(l.litter) }], what: texts.doing.what(nest, said.allWellDone), nest, litter: l.litter });
}
