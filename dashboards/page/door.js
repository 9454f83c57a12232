// Where looking needs a login, the password is asked for before anything is shown, and again when the login has ended.
import { login } from "./act.js";
import { forget } from "./book/data.js";
import { el } from "./dom.js";
import { texts } from "./texts.js";

let asking = false;

// shut is called as often as the daemon shows nothing. What was shown goes away, and what was kept of it; who gives up finds a button behind place.
export async function shut(place, shown) {
  if (asking && !shown) return;
  asking = true;
  if ((await forget()) || shown) {
    location.reload();
    return;
  }
  const button = el("button", { type: "button", class: "take", text: texts.login.in });
  const note = el("p", { id: "closed" }, el("span", { text: texts.login.closed }), " ", button);
  while (!(await login(texts.login.look))) {
    place.after(note);
    button.focus();
    await new Promise((pressed) => { button.onclick = pressed; });
  }
  location.reload();
}
