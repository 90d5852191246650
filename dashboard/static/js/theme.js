// Runs before the first paint, so that the page never flashes in the wrong theme.
(() => {
  let theme = "auto";
  try {
    theme = localStorage.getItem("theme") ?? "auto";
  } catch {
    // Storage may be forbidden; then the device's own setting rules.
  }
  document.documentElement.dataset.theme = theme;
})();
