// This device: its colours, its name, its login, and the home screen.
import { can, isBusy, login, logout } from "../act.js";
import * as device from "../device.js";
import { el, setText } from "../dom.js";
import { texts } from "../texts.js";

const said = texts.settings.device;

export function makeDevice() {
  const node = el("section", { id: "device" });
  const themes = el("div", { class: "switch", role: "group", "aria-label": said.theme });
  for (const name of device.themes) themes.append(el("button", { type: "button", "data-theme-name": name, text: said.themes[name], onclick: () => (device.chooseTheme(name), update()) }));
  const name = el("input", { id: "device-name", type: "text", maxlength: "40", autocomplete: "off", value: device.deviceName(), "aria-describedby": "device-name-why" });
  name.addEventListener("change", () => (device.nameDevice(name.value), setText(why, device.deviceName() ? said.nameKept(device.deviceName()) : said.nameWhy)));
  const why = el("p", { id: "device-name-why", class: "quiet", role: "status", text: said.nameWhy });
  const logged = el("p", { role: "status" });
  const enter = el("button", { type: "button", text: texts.login.in, onclick: () => login().then(update) });
  const leave = el("button", { type: "button", text: texts.login.out, onclick: () => logout().then(update) });
  const install = el("p");
  const put = el("button", { type: "button", text: said.install.button, onclick: () => device.offer?.prompt().then(update) });
  node.append(el("h2", { text: said.heading }),
    el("div", { class: "field" }, el("h3", { text: said.theme }), themes),
    el("div", { class: "field" }, el("h3", {}, el("label", { for: "device-name", text: said.name })), name, why),
    el("div", { class: "field" }, el("h3", { text: said.login }), logged, el("div", { class: "buttons" }, enter, leave)),
    el("div", { class: "field" }, el("h3", { text: said.install.heading }), install, el("div", { class: "buttons" }, put)));

  function update() {
    for (const b of themes.children) b.setAttribute("aria-pressed", String(b.dataset.themeName === device.theme()));
    setText(logged, !can.asked ? "" : !can.changes ? texts.locked : can.logged_in ? said.loggedIn : said.loggedOut);
    enter.hidden = !can.changes || can.logged_in;
    leave.hidden = !can.changes || !can.logged_in;
    setText(leave, isBusy("session", "logout") ? texts.doing.sending : texts.login.out);
    put.hidden = device.offer === null;
    setText(install, matchMedia("(display-mode: standalone)").matches ? said.install.there
      : device.offer ? said.install.offered
        : !globalThis.isSecureContext ? said.install.insecure
          : /iPhone|iPad/.test(navigator.userAgent) ? said.install.apple : said.install.menu);
  }
  update();
  return { node, update };
}
