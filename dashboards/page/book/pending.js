// What is on this device and not, or not without a question, in the book: what waits, what was refused, what was saved and is unusual.
import { el, keyed, setClass, setText, shape } from "../dom.js";
import { texts } from "../texts.js";
import * as units from "../units.js";
import { openForm } from "./form.js";
import { again, held, logIn, now, queue, throwAway, undo } from "./queue.js";

const said = texts.book.queue;

export function makePending() {
  const parts = { forgets: el("p", { class: "wrong", text: said.forgets }), login: el("button", { type: "button", class: "take", text: said.logIn, onclick: logIn }), list: el("ul", { class: "list" }), note: el("p", { class: "quiet", text: said.note }) };
  const node = el("section", { id: "pending", hidden: true }, el("h2", { text: said.heading }), parts.forgets, parts.login, parts.list, parts.note);
  return { node, update: () => update(node, parts) };
}

function update(node, parts) {
  node.hidden = queue.items.length === 0;
  parts.forgets.hidden = !queue.forgets;
  parts.login.hidden = !queue.needsLogin;
  parts.note.hidden = !queue.items.some((i) => i.state === "waiting");
  keyed(parts.list, queue.items, (i) => i.key, makeItem, updateItem);
}

const shown = new WeakMap();

function makeItem() {
  const li = el("li", {}, el("p", { class: "title" }, shape("notice"), el("span", { class: "word" }), el("strong")), el("p", { class: "say" }), el("p", { class: "quiet" }), el("div", { class: "buttons" }));
  return li;
}

function updateItem(li, item) {
  const [title, why, when, buttons] = li.children;
  const bad = item.state === "refused";
  shown.set(li, item);
  setClass(li, `sending is-${item.state}`);
  const word = item.undone ? said.undone : held(item) ? said.held : said[item.state];
  const mark = bad ? "warning" : item.state === "unusual" ? "notice" : "quiet";
  if (li.dataset.mark !== mark) {
    li.dataset.mark = mark;
    title.replaceChild(shape(mark), title.firstElementChild);
  }
  setText(title.children[1], word);
  setText(title.children[2], item.what);
  setText(why, bad ? item.error : item.state === "unusual" ? item.doubts.join(" ") : item.why ?? "");
  setText(when, said.pressed(units.moment(Date.parse(item.on), now())));
  keyed(buttons, deeds(item), (d) => d.key, (d) => el("button", { type: "button", onclick: () => deeds(shown.get(li)).find((x) => x.key === d.key)?.does(shown.get(li)) }), (b, d) => {
    setText(b, d.words);
    b.setAttribute("aria-label", `${d.words}: ${item.what}`);
    setClass(b, d.strong ? "take" : "");
  });
  buttons.hidden = buttons.children.length === 0;
}

function deeds(item) {
  if (item.state === "refused") {
    return [...(item.form ? [{ key: "mend", words: said.mend, strong: true, does: (i) => openForm(i.form, i) }] : []), { key: "again", words: said.again, does: again }, { key: "away", words: said.away, does: throwAway }];
  }
  if (item.state === "unusual") {
    return [...(item.stored.length === 1 ? [{ key: "correct", words: said.correctIt, strong: true, does: correct }] : [{ key: "undo", words: said.takeBack, strong: true, does: takeBack }]), { key: "right", words: said.right, does: throwAway }];
  }
  return item.undone || !item.undoable ? [] : [{ key: "undo", words: texts.book.undo, does: undo }];
}

function correct(item) {
  const [entry] = item.stored;
  throwAway(item);
  openForm({ kind: "correct", what: entry.what, litter: entry.litter ?? null, nest: entry.nest ?? null, entry, values: entry.row });
}

async function takeBack(item) {
  await throwAway(item);
  await undo(item);
}
