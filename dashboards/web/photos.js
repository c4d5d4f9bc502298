// Pictures of a unit. What a telephone took is made smaller here, which also takes out where and when it was taken.
import { el, keep_list, set_attribute, set_text, show } from "./dom.js";
import { make_form, text_field } from "./forms.js";

const SIDE_MAX = 2400;      // pixels: enough to read a plate, small enough to send
const QUALITY = 0.85;
export const PHOTO_BYTES_MAX = 8 * 1024 * 1024;

/** A JPEG of this file, or an Error that says why not. */
async function as_jpeg(file) {
  let picture;
  try {
    picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  } catch {
    throw new Error("this browser cannot read that picture: take it as JPEG or PNG");
  }
  const shrink = Math.min(1, SIDE_MAX / Math.max(picture.width, picture.height));
  const canvas = Object.assign(document.createElement("canvas"), { width: Math.round(picture.width * shrink), height: Math.round(picture.height * shrink) });
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  const blob = await new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", QUALITY));
  if (!blob) throw new Error("the picture could not be made smaller");
  if (blob.size > PHOTO_BYTES_MAX) throw new Error("the picture is larger than 8 MiB, even after it was made smaller");
  return blob;
}

/** `deliver({who, caption, point}, blob)` sends it. `points`: of the unit on the bench, so that a picture of a clip is found beside its point. */
export function photo_form({ points, deliver, done, on_close }) {
  const input = el("input", { type: "file", accept: "image/jpeg,image/png,image/*", name: "photo", required: true });
  const caption = text_field("What it shows", { name: "caption", required: true, maxlength: 200 });
  const list = el("datalist", { id: "photo-points" }, ...points.map((point) => el("option", { value: point.name })));
  const point = text_field("The point that it shows, if it is a clip", { name: "point", list: "photo-points", placeholder: "may stay empty" });
  return make_form({
    title: "A picture", heading: "h3", action: "Add it", done, on_close,
    text: "It is made smaller before it is sent, and where and when it was taken is taken out: it may end up on a page for the buyer.",
    caution: "Pictures of clips are taken with the unit off and discharged, or with both hands away from it.",
    fields: [el("label", {}, "The picture", input), caption.node, point.node, list],
    body: (who) => (!input.files.length ? "Choose a picture." : !caption.value() ? "Say what it shows." : { who, caption: caption.value(), ...(point.value() ? { point: point.value() } : {}) }),
    deliver: async (sent) => deliver(sent, await as_jpeg(input.files[0])),
  });
}

function make_photo() {
  const picture = el("img", { loading: "lazy" });
  const link = el("a", { target: "_blank", rel: "noopener" }, picture);
  const words = el("span");
  const point = el("span.meta");
  const caption = el("figcaption", {}, words, point);
  const node = el("figure.photo", {}, link, caption);
  return {
    node,
    update(photo) {
      const address = `/api/v1/photos/${encodeURIComponent(photo.sha256)}`;
      set_attribute(picture, "src", address);
      set_attribute(picture, "alt", photo.caption);
      link.href = address;
      set_text(words, photo.caption);
      set_text(point, photo.point ? ` at ${photo.point}` : "");
    },
  };
}

export function photos_part() {
  const list = el("div.photos");
  const none = el("p.meta", {}, "No picture yet. The first one stands on the buyer\u2019s page.");
  return {
    node: el("div", {}, list, none),
    update(photos) {
      keep_list(list, photos, (photo) => `${photo.sha256} ${photo.caption} ${photo.point}`, make_photo);
      show(none, photos.length === 0);
    },
  };
}
