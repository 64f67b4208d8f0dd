// Numbers, units and times for the eye. Celsius or Fahrenheit is a matter of display alone.
export type Scale = 'C' | 'F'

const DECIMALS: Record<string, number> = { C: 1, F: 0, A: 1, V: 2, 'L/min': 2, mbar: 1, '%': 2, mm: 0, W: 0 }

export const unitText = (unit: string, scale: Scale): string => (unit === 'C' ? `°${scale}` : unit)

/** A quantity; `way` for a difference of two, which has no zero to move. */
export function figure(value: number, unit: string, scale: Scale, way = false): string {
  const fahrenheit = unit === 'C' && scale === 'F'
  const shown = fahrenheit ? value * 1.8 + (way ? 0 : 32) : value
  const decimals = DECIMALS[fahrenheit ? 'F' : unit] ?? (Math.abs(shown) < 10 ? 2 : 1)
  const text = shown.toFixed(decimals)
  return (/^-0\.?0*$/.test(text) ? text.slice(1) : text).replace('-', '−')
}

/** A threshold: as short as it is exact. */
export const limitFigure = (value: number, unit: string, scale: Scale): string =>
  unit === 'C' && scale === 'F' ? figure(value, unit, scale) : String(Number(value.toFixed(3))).replace('-', '−')

/** The controller's own words, as they are read best: degrees have their sign, a number and its unit stay on one line. */
export const tied = (text: string): string => text.replace(/(\d) C(?![\w-])/g, '$1 °C').replace(/(\d) (?=[°%]|[A-Za-z]{1,4}\b)/g, '$1\u00a0')

export function duration(seconds: number): string {
  const s = Math.max(0, seconds)
  if (s < 1) return 'under 1 s'
  if (s < 60) return `${Math.floor(s)} s`
  const min = Math.floor(s / 60)
  if (min < 60) return `${min} min`
  const h = Math.floor(min / 60)
  if (h < 48) return min % 60 ? `${h} h ${min % 60} min` : `${h} h`
  const d = Math.floor(h / 24)
  return h % 24 ? `${d} d ${h % 24} h` : `${d} d`
}

const TIME = new Intl.DateTimeFormat('en-GB', { hour: '2-digit', minute: '2-digit', hour12: false })
const SECONDS = new Intl.DateTimeFormat('en-GB', { hour: '2-digit', minute: '2-digit', second: '2-digit', hour12: false })
const DAY = new Intl.DateTimeFormat('en-GB', { day: 'numeric', month: 'short' })
const YEAR = new Intl.DateTimeFormat('en-GB', { day: 'numeric', month: 'short', year: 'numeric' })

/** Local time, 24 hours; with its day unless that is today's. */
export function clock(time_s: number, now_s: number, seconds = false): string {
  const then = new Date(time_s * 1000)
  const today = new Date(now_s * 1000)
  const text = (seconds ? SECONDS : TIME).format(then)
  if (then.toDateString() === today.toDateString()) return text
  return `${(then.getFullYear() === today.getFullYear() ? DAY : YEAR).format(then)}, ${text}`
}

/** A tick of a time axis that spans `span_s`. */
export function tick(time_s: number, span_s: number): string {
  const then = new Date(time_s * 1000)
  return span_s > 3 * 86400 ? DAY.format(then) : TIME.format(then)
}
