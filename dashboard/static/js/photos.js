// Photos of a heat, of its root and of its part: taken, shown, taken out again.
import { act, NotDone, sendFile, token } from "./deeds.js";
import { h, setAttribute, setText, show } from "./dom.js";
import { toast } from "./toasts.js";
import { t, t2 } from "./words.js";

const KINDS = "image/jpeg,image/png";
const MOST_BYTES = 12_000_000;

/** The part of a heat's record; ``again`` opens the record anew when the photos have changed. */
export function photoParts(record, again) {
  const gallery = h("div", { class: "photos" }, ...record.photos.map((each) => figure(record, each, again)));
  return [h("h3", {}, t("photos.title")), record.photos.length ? gallery : h("p", {}, t("photos.none")), new Taker(record, again).element];
}

function figure(record, photo, again) {
  const address = `/api/v1/photos/${photo.sha256}`;
  const words = `${t2("photos.of", photo.of)}${photo.caption ? `: ${photo.caption}` : ""}`;
  const image = h("img", { src: address, alt: words, loading: "lazy", decoding: "async" });
  image.addEventListener("error", () => setAttribute(image, "alt", t("photos.gone", { what: words })));
  const whose = photo.of === "part" ? { part_id: record.part_id } : { heat_id: record.heat_id };
  const drop = async () => {
    if (await act({ kind: "drop photo", sha256: photo.sha256, of: photo.of, ...whose }, t("photos.dropped"))) again();
  };
  return h("figure", { class: "photo", "data-of": photo.of },
    h("a", { href: address, target: "_blank", rel: "noopener" }, image),
    h("figcaption", {}, words),
    h("button", { type: "button", class: "button", "data-action": "drop photo", "aria-label": t("photos.drop_this", { what: words }), onclick: drop }, t("photos.drop")));
}

/** What it is of, a caption, and the two ways to a picture: the camera, or a file that is there. */
class Taker {
  #of = "root";

  constructor(record, again) {
    Object.assign(this, { record, again });
    this.tiles = ["root", "heat", "part"].map((of) => h("button", { type: "button", class: "tile", "data-action": "photo of", "data-value": of, "aria-pressed": String(of === this.#of), onclick: () => this.#turn(of) }, h("strong", {}, t2("photos.of", of))));
    this.caption = h("input", { id: "photo-caption", maxlength: "200", autocomplete: "off" });
    this.state = h("p", { class: "note", role: "status", hidden: true });
    const [camera, file] = [this.#input("take", { capture: "environment" }), this.#input("choose", {})];
    this.element = h("div", { class: "photo-taker" },
      h("div", { class: "tiles small", role: "group", "aria-label": t("photos.what") }, ...this.tiles),
      h("div", { class: "entry" }, h("label", { class: "field", for: "photo-caption" }, t("photos.caption")), this.caption),
      h("div", { class: "row-deeds" }, camera, file), this.state, h("p", { class: "note" }, t("photos.note")));
  }

  /** A button that is really a file input: the label is what is seen and tapped. */
  #input(name, more) {
    const id = `photo-${name}`;
    const input = h("input", { id, type: "file", accept: KINDS, class: "photo-file", "data-action": `${name} photo`, ...more });
    input.addEventListener("change", async () => {
      for (const file of input.files) await this.#send(file);
      input.value = "";
    });
    return h("span", { class: "photo-button" }, input, h("label", { for: id, class: "button" }, t(`photos.${name}`)));
  }

  #turn(of) {
    this.#of = of;
    for (const tile of this.tiles) setAttribute(tile, "aria-pressed", tile.dataset.value === of);
  }

  async #send(file) {
    if (file.size > MOST_BYTES) {
      toast(t("photos.too_large", { mb: (file.size / 1e6).toFixed(1) }), { bad: true });
      return;
    }
    const asked = new URLSearchParams({ of: this.#of, token: token() });
    if (this.#of === "part") asked.set("part_id", this.record.part_id);
    else asked.set("heat_id", this.record.heat_id);
    const caption = this.caption.value.trim();
    if (caption) asked.set("caption", caption);
    show(this.state, true);
    setText(this.state, t("photos.sending"));
    try {
      const kept = await sendFile(`/api/v1/photos?${asked}`, file);
      toast(kept.recorded ? t("photos.kept") : `${t("photos.kept")}. ${t("done.not_recorded")}`);
      this.again();
    } catch (error) {
      if (!(error instanceof NotDone)) throw error;
      toast(error.message, { bad: true });
    } finally {
      show(this.state, false);
    }
  }
}
