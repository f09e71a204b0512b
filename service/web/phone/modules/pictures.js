// A photo on a form: made small on the phone as soon as it is chosen, so that saving never waits and sending is quick.
import { newId } from "./ids.js";
import { place, t } from "./told.js";

const LONGEST_SIDE = 1600, QUALITY = 0.85, SMALL_SIDE = 96;
const chosen = new WeakMap(); // the form, and the promise of its picture

/** Make the photo of a form work: chosen, shown small, said why not, taken away again. */
export function wirePicture(form) {
  const input = form.elements.photo;
  if (!input) return;
  const clear = () => {
    input.value = "";
    chosen.delete(form);
    show(form, null, "");
  };
  input.addEventListener("change", () => {
    const file = input.files[0];
    if (!file) return clear();
    const made = small(file).catch(() => null);
    chosen.set(form, made);
    return made.then((picture) => {
      if (chosen.get(form) !== made) return; // another was chosen meanwhile
      if (picture) return show(form, picture, "");
      clear();
      show(form, null, t("This is no picture that this phone can read. What you typed can be saved without it."));
    });
  });
  form.querySelector("[data-no-photo]").addEventListener("click", clear);
  form.addEventListener("saved", clear);
}

/** The picture chosen in a form, as a small JPEG; null when there is none. */
export async function pictureOf(form) {
  return (await chosen.get(form)) ?? null;
}

/** The item that sends a picture after the record it belongs to. */
export function photoItem(picture, record, taken) {
  const body = { taken_at: taken, of_kind: record.kind.replaceAll("-", "_").replace(/s$/, ""), of_id: record.id };
  return {
    id: newId(), kind: "photos", body, picture, after: record.id, auto: ["taken_at"],
    words: t("Photo: {what}", { what: record.words }),
  };
}

/** A picture as a small one on the page, drawn from the phone's own copy. */
export function drawn(picture, words) {
  const canvas = document.createElement("canvas");
  canvas.className = "thumbnail";
  canvas.setAttribute("role", "img");
  canvas.setAttribute("aria-label", words);
  canvas.width = canvas.height = SMALL_SIDE;
  scaled(picture, SMALL_SIDE * 2, canvas).catch(() => {}); // what cannot be drawn stays named by its words
  return canvas;
}

/** At most 1600 pixels a side, upright, as JPEG: the canvas carries no place and no device. */
async function small(file) {
  const canvas = await scaled(file, LONGEST_SIDE, document.createElement("canvas"));
  const picture = await new Promise((resolve) => { canvas.toBlob(resolve, "image/jpeg", QUALITY); });
  if (!picture) throw new Error("the canvas gave nothing");
  return picture;
}

async function scaled(source, longest, canvas) {
  const bitmap = await createImageBitmap(source);
  const factor = Math.min(1, longest / Math.max(bitmap.width, bitmap.height));
  canvas.width = Math.max(1, Math.round(bitmap.width * factor));
  canvas.height = Math.max(1, Math.round(bitmap.height * factor));
  const context = canvas.getContext("2d");
  context.fillStyle = "#fff";
  context.fillRect(0, 0, canvas.width, canvas.height); // where it was transparent a JPEG would be black
  context.drawImage(bitmap, 0, 0, canvas.width, canvas.height);
  bitmap.close();
  return canvas;
}

function show(form, picture, words) {
  const holder = form.querySelector("[data-photo]"), told = form.querySelector("[data-photo-told]");
  holder.replaceChildren(...(picture ? [drawn(picture, t("The photo that goes with it, at {place}", { place: place.name }))] : []));
  told.textContent = words;
  told.hidden = !words;
  form.querySelector("[data-no-photo]").hidden = !picture;
}
