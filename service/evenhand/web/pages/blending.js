// The result at any strengths, in whole numbers, as the service makes it:
//   result = (original * 65536 + sum of n * difference + threshold) >> 16,  n = round(1024 strength)
// with differences in 1/64 of a code. Where the sum is zero the original stays, bit for bit.
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
 * Blend a tile.
 *
 * @param {Uint8ClampedArray} original  RGBA
 * @param {{part:number,left:number,top:number,width:number,height:number,numbers:Int16Array}[]} layers
 * @param {{width:number,height:number,left:number,top:number,dithered:boolean}} place
 *   size of the tile and where it begins in the upright photograph
 * @param {Int32Array} total  room for the sums, 3 numbers a pixel
 * @param {Uint8ClampedArray} result  RGBA, filled
 */
export function blend(original, layers, place, total, result) {
  const { width, height } = place;
  total.fill(0);
  for (const layer of layers) {
    if (!layer.part) continue;
    for (let row = 0; row < layer.height; row++) {
      let to = ((layer.top + row) * width + layer.left) * 3;
      let from = row * layer.width * 3;
      for (const end = from + layer.width * 3; from < end; from++, to++) {
        total[to] += layer.numbers[from] * layer.part;
      }
    }
  }
  for (let row = 0, pixel = 0; row < height; row++) {
    const line = ((place.top + row) * ROW_STEP) & 65535;
    for (let column = 0; column < width; column++, pixel++) {
      const base = ((place.left + column) * COLUMN_STEP + line) & 65535;
      for (let channel = 0; channel < 3; channel++) {
        const sum = total[pixel * 3 + channel];
        const code = original[pixel * 4 + channel];
        const threshold = place.dithered ? (base + channel * CHANNEL_STEP) & 65535 : HALF;
        // Clamping is the array's own; zero sums keep the original: 65536 code + threshold >> 16.
        result[pixel * 4 + channel] = (code * 65536 + sum + threshold) >> 16;
      }
      result[pixel * 4 + 3] = 255;
    }
  }
}
