// Runs first: sets the theme before anything is painted, lets the browser paint the verdicts that
// came with the page, and only then fetches what brings it to life.
(() => {
  let theme = "auto";
  try {
    theme = localStorage.getItem("theme") ?? "auto";
  } catch {
    // Storage may be forbidden; then the device's own setting rules.
  }
  document.documentElement.dataset.theme = theme;

  const LATEST_MS = 250;
  const folder = document.currentScript.src.replace(/[^/]*$/, "");
  let begun = false;
  const begin = () => {
    if (begun) return;
    begun = true;
    for (const name of JSON.parse(document.getElementById("modules").textContent)) {
      document.head.append(Object.assign(document.createElement("link"), { rel: "modulepreload", href: `${folder}${name}.js` }));
    }
    import(`${folder}main.js`);
  };
  addEventListener("DOMContentLoaded", () => {
    // A hidden page paints nothing, and nothing may keep it waiting: it has to sound its alarms.
    if (document.hidden) begin();
    requestAnimationFrame(() => setTimeout(begin));
    setTimeout(begin, LATEST_MS);
  });
})();
