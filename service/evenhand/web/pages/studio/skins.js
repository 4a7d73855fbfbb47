// Whose skin is where in a portrait, from everybody's masks as painted.

const SIDE = 1000; // longer side of the masks asked for, pixels
const SKIN_FROM = 128; // code from which a place is skin

export class Skins {
  constructor(service, { width, height }) {
    Object.assign(this, { service, width, height, masks: [] });
  }

  /** Look up everybody's skin; strokes drawn meanwhile wait for it. */
  load(people) {
    this.loaded = Promise.all(people.map(async (person) => {
      const blob = await this.service.picture(`/v1/people/${person.id}/skin.png?side=${SIDE}`);
      const bitmap = await createImageBitmap(blob, { colorSpaceConversion: "none" });
      const context = new OffscreenCanvas(bitmap.width, bitmap.height).getContext("2d");
      context.drawImage(bitmap, 0, 0);
      return { person, image: context.getImageData(0, 0, bitmap.width, bitmap.height) };
    })).then((masks) => { this.masks = masks; });
    return this.loaded;
  }

  /** The person whose skin is at a point of the portrait; null where there is nobody's. */
  at(point) {
    let whose = null, most = SKIN_FROM;
    for (const { person, image } of this.masks) {
      const column = Math.floor(point.x / this.width * image.width), row = Math.floor(point.y / this.height * image.height);
      if (column < 0 || row < 0 || column >= image.width || row >= image.height) continue;
      const code = image.data[(row * image.width + column) * 4];
      if (code >= most) [whose, most] = [person, code + 1];
    }
    return whose;
  }
}
