// The result at any strengths, in whole numbers, as the service makes it:
//   result = (original * 65536 + sum of n * difference + threshold) >> 16,  n = round(1024 strength)
// with differences in 1/64 of a code. Where the sum is zero the original stays, bit for bit.
// Photographs of 16 bits have a first layer without an id: what their codes lie beside whole ones.
// At full size the threshold is the fixed pattern of the final, elsewhere a half.

export const STRENGTH_STEPS = 1024;
export const COLUMN_STEP = 49471;
export const ROW_STEP = 37345;
export const CHANNEL_STEP = 21845;
export const HALF = 32768;

/** Whole part of 1024 of a strength; halves go to the even number, as on the service. */
export function partOf(strength) {
  const scaled = strength * STRENGTH_STEPS;
  const whole = Math.round(scaled);
  return scaled % 1 === 0.5 && whole % 2 ? whole - 1 : whole;
}

/**
 * Blend a part of a tile.
 *
 * @param {Uint8ClampedArray} original  RGBA
 * @param {{part:number,left:number,top:number,width:number,height:number,numbers:Int16Array}[]} layers
 * @param {{width:number,height:number,left:number,top:number,dithered:boolean,real:boolean}} place
 *   size of the tile and where it begins in the upright photograph; real leaves codes unrounded
 * @param {{left:number,top:number,right:number,bottom:number}} region  what to blend, in the tile
 * @param {Int32Array} total  room for the sums of a row, 3 numbers a pixel
 * @param {Uint8ClampedArray|Float32Array} result  RGBA, filled inside the region
 */
export function blend(original, layers, place, region, total, result) {
  const { width } = place;
  const across = region.right - region.left;
  const active = layers.filter((layer) => layer.part && layer.width);
  for (let row = region.top; row < region.bottom; row++) {
    total.fill(0, 0, across * 3);
    for (const layer of active) {
      if (row < layer.top || row >= layer.top + layer.height) continue;
      const left = Math.max(region.left, layer.left), right = Math.min(region.right, layer.left + layer.width);
      const { numbers, part } = layer;
      let to = (left - region.left) * 3;
      let from = ((row - layer.top) * layer.width + left - layer.left) * 3;
      for (const end = from + (right - left) * 3; from < end; from++, to++) total[to] += numbers[from] * part;
    }
    // Clamping is the array's own. Zero sums keep the original: (65536 code + threshold) >> 16.
    let at = (row * width + region.left) * 4;
    if (place.real) {
      for (let from = 0; from < across * 3; from += 3, at += 4) {
        result[at] = original[at] + total[from] / 65536;
        result[at + 1] = original[at + 1] + total[from + 1] / 65536;
        result[at + 2] = original[at + 2] + total[from + 2] / 65536;
      }
      continue;
    }
    if (!place.dithered) {
      for (let from = 0; from < across * 3; from += 3, at += 4) {
        result[at] = ((original[at] << 16) + total[from] + HALF) >> 16;
        result[at + 1] = ((original[at + 1] << 16) + total[from + 1] + HALF) >> 16;
        result[at + 2] = ((original[at + 2] << 16) + total[from + 2] + HALF) >> 16;
        result[at + 3] = 255;
      }
      continue;
    }
    let base = (place.top + row) * ROW_STEP + (place.left + region.left) * COLUMN_STEP;
    for (let from = 0; from < across * 3; from += 3, at += 4, base += COLUMN_STEP) {
      result[at] = ((original[at] << 16) + total[from] + (base & 65535)) >> 16;
      result[at + 1] = ((original[at + 1] << 16) + total[from + 1] + ((base + CHANNEL_STEP) & 65535)) >> 16;
      result[at + 2] = ((original[at + 2] << 16) + total[from + 2] + ((base + 2 * CHANNEL_STEP) & 65535)) >> 16;
      result[at + 3] = 255;
    }
  }
}
