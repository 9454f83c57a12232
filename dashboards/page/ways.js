// The addresses of the page's rooms, such as #/alarms or #/nest/b1.

// way is the address of a room, to be a link's href.
export const way = (name, ...words) => `#/${[name === "now" && words.length === 0 ? "" : name, ...words].map(encodeURIComponent).join("/")}`;

// where takes the address apart.
export function where() {
  const [name, ...words] = location.hash.replace(/^#\/?/, "").split("/").map((w) => {
    try {
      return decodeURIComponent(w);
    } catch {
      return "";
    }
  });
  return { name, words };
}
