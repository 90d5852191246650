// BokehJS from the service's own installed package, loaded when the first chart of a record is drawn.

let loading = null;

/** The library, once; rejects when it is not installed or not to be had now. */
export function bokeh() {
  loading ??= load().catch((error) => {
    loading = null;
    throw error;
  });
  return loading;
}

async function load() {
  const { nonce } = document.querySelector("link[nonce]");
  const make = document.createElement;
  // It styles its shadow trees by style elements, which the page's policy allows with the nonce only.
  document.createElement = function createElement(...given) {
    const made = make.apply(document, given);
    if (made instanceof HTMLStyleElement) made.nonce = nonce;
    return made;
  };
  for (const address of document.documentElement.dataset.bokeh.split(" ")) await script(address);
  globalThis.Bokeh.set_log_level("warn");
  return globalThis.Bokeh;
}

function script(address) {
  return new Promise((loaded, failed) => {
    const made = document.createElement("script");
    made.src = address;
    made.addEventListener("load", loaded);
    made.addEventListener("error", () => {
      made.remove();
      failed(new Error(address));
    });
    document.head.append(made);
  });
}
