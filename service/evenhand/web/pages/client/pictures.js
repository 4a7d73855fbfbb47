// Pictures of a proof: each asked for once, a small one first, and the neighbours in advance.

const SMALL = 400; // longer side of the first look and of thumbnails, pixels
const LARGEST = 2400; // longer side of what the service gives, pixels
const STEP = 400; // sides asked for are whole multiples of this
const MOST_KEPT = 60; // pictures kept in memory

export class Pictures {
  constructor(service) {
    this.service = service;
    this.kept = new Map();
  }

  static small = SMALL;

  /** The side to ask for so that so many device pixels are filled. */
  static side(wanted) {
    return Math.min(LARGEST, Math.max(SMALL, Math.ceil(wanted / STEP) * STEP));
  }

  /**
   * A picture at these choices: { blob, address, rendering, side, choices }.
   * `version` changes when the portrait looks otherwise at the same choices.
   */
  get(portrait, choices, side, version) {
    const strengths = choices.map(({ person, step, strength }) => `${person}.${step}:${strength}`).join(",");
    const key = JSON.stringify([portrait.id, strengths, side, version]);
    let made = this.kept.get(key);
    if (!made) {
      made = this.#asked(portrait, strengths, side).then((picture) => ({ ...picture, side, choices }));
      made.catch(() => this.kept.delete(key));
    }
    this.kept.delete(key); // what was used last is dropped last
    this.kept.set(key, made);
    this.#drop();
    return made;
  }

  async #asked(portrait, strengths, side) {
    const path = `/v1/proof/portraits/${portrait.id}/picture?side=${side}&strengths=${strengths}`;
    const response = await this.service.ask("GET", path);
    const blob = await response.blob();
    return { blob, rendering: response.headers.get("Rendering"), address: URL.createObjectURL(blob) };
  }

  #drop() {
    for (const [key, made] of this.kept) {
      if (this.kept.size <= MOST_KEPT) return;
      this.kept.delete(key);
      made.then(({ address }) => URL.revokeObjectURL(address), () => {});
    }
  }
}
