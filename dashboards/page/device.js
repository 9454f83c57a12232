// What this device keeps for itself: its colours, its name, and whether the browser offers to put the page on the home screen.
const colours = "nestmon.theme";
const called = "nestmon.device";
const longestName = 40; // characters, as nestmon takes them
export const themes = ["system", "light", "dark"];

// recall is what was kept under a key, empty where nothing was.
export const recall = (key) => {
  try {
    return localStorage.getItem(key) ?? "";
  } catch {
    return ""; // a browser that keeps nothing still shows everything
  }
};

let chosen = recall(colours);

export function keep(key, value) {
  try {
    localStorage.setItem(key, value);
  } catch {
    // as in recall
  }
}

export const theme = () => (themes.includes(chosen) ? chosen : "system");

function paint() {
  if (theme() === "system") delete document.documentElement.dataset.theme;
  else document.documentElement.dataset.theme = theme();
}

// chooseTheme remembers the colours of this device; system follows the device's own setting.
export function chooseTheme(name) {
  chosen = name;
  keep(colours, name);
  paint();
}

// deviceName is who does something here, as the journal will have it; empty where nobody said.
export const deviceName = () => recall(called);
export const nameDevice = (name) => keep(called, name.trim().slice(0, longestName));

// offer is the browser's own way to install the page, null where it offers none.
export let offer = null;
addEventListener("beforeinstallprompt", (e) => {
  e.preventDefault(); // it is asked for in the settings, not in the middle of a look
  offer = e;
});
addEventListener("appinstalled", () => (offer = null));

paint();
