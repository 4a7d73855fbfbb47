// Small pictures of portraits, ready before they are looked at, so that flicking through a shoot
// shows the next one at once; the sharp one follows.

const SIDE = 900; // longer side, pixels
const MOST = 24;

export class Previews {
  constructor(service) {
    this.service = service;
    this.kept = new Map();
  }

  /** A bitmap of a portrait as it was when it was sent for, or null where there is none. */
  get(id) {
    const kept = this.kept.get(id);
    if (kept) return kept.bitmap;
    this.ready(id);
    return null;
  }

  /** Send for a portrait's picture, if it is not here. */
  ready(id) {
    if (this.kept.has(id)) return this.kept.get(id).coming;
    const entry = { bitmap: null };
    entry.coming = this.service.picture(`/v1/portraits/${id}/preview?side=${SIDE}`).then(createImageBitmap)
      .then((bitmap) => (entry.bitmap = bitmap), () => this.kept.delete(id));
    this.kept.set(id, entry);
    for (const oldest of this.kept.keys()) {
      if (this.kept.size <= MOST) break;
      this.forget(oldest);
    }
    return entry.coming;
  }

  /** What was changed is sent for anew when it is next wanted. */
  forget(id) {
    this.kept.get(id)?.bitmap?.close();
    this.kept.delete(id);
  }
}
