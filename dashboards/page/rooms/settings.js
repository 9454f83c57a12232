// Settings: alarms on this phone, and the limits in force.
import { el } from "../dom.js";
import { Push } from "../push.js";

export function make(box) {
  const phone = el("section", { id: "push", hidden: true });
  box.append(phone);
  const push = new Push(phone);
  return { open: () => push.look(), update() {} };
}
