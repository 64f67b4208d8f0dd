// From limits to rows, one for each signal and side. The wall is the first thing on the way that takes the power, of
// those that are armed now; milder limits are notches before it. What lies behind the wall has no bar: it comes later.
import type { MarginNow, SignalNow } from './model'

const SEVERITY = { alarm: 0, derate: 1, stop: 2, trip: 3 }

export interface Notch { margin: MarginNow; at: number } // fraction of the way that is left when it is reached
export interface Way {
  key: string
  title: string
  wall: MarginNow
  notches: Notch[]
  left: number | null // fraction of the way, 1 as far as in normal running
  yesNo: boolean
  nearest: boolean
  level: 'quiet' | 'alarm' | 'trip' | 'unseen' // the controller's own word, never worked out here
  plain: string // of its signal, when it is not good
}

/** Rows in the controller's order, so that nothing moves. */
export function ways(margins: MarginNow[], signals: SignalNow[], nearest: string | null): Way[] {
  const status = new Map(signals.map((s) => [s.name, s]))
  const groups = new Map<string, MarginNow[]>()
  for (const margin of margins) {
    const key = `${margin.signal}/${margin.rises ? 'up' : 'down'}`
    const group = groups.get(key)
    if (group) group.push(margin)
    else groups.set(key, [margin])
  }
  const twoSided = new Set(margins.filter((m) => groups.has(`${m.signal}/up`) && groups.has(`${m.signal}/down`)).map((m) => m.signal))
  return [...groups].map(([key, group]) => {
    const wall = group.reduce((first, m) => (sooner(m, first) ? m : first))
    const notches: Notch[] = []
    const span = spanOf(group, wall)
    for (const margin of group) {
      if (margin === wall || span === null || SEVERITY[margin.effect] >= SEVERITY.stop) continue
      const at = (wall.rises ? wall.threshold - margin.threshold : margin.threshold - wall.threshold) / span
      if (at >= 0 && at <= 1) notches.push({ margin, at })
    }
    const signal = status.get(wall.signal)
    const standing = group.filter((m) => m.standing)
    const level = standing.some((m) => m.effect === 'trip')
      ? 'trip'
      : standing.length
        ? 'alarm'
        : wall.value === null
          ? 'unseen'
          : 'quiet'
    return {
      key,
      title: group.length > 1 && signal && !twoSided.has(wall.signal) ? signal.title : wall.title,
      wall,
      notches,
      left: wall.left_fraction === null ? null : Math.min(1, Math.max(0, wall.left_fraction)),
      yesNo: wall.unit === '',
      nearest: group.some((m) => m.limit === nearest),
      level,
      plain: signal && signal.status !== 'good' ? signal.plain : '',
    }
  })
}

/** Whether `a` rather than `b` is the wall: armed, then takes the power, then comes first on the way. */
function sooner(a: MarginNow, b: MarginNow): boolean {
  if (a.armed !== b.armed) return a.armed
  const takes = (m: MarginNow) => Math.min(SEVERITY[m.effect], SEVERITY.stop)
  if (takes(a) !== takes(b)) return takes(a) > takes(b)
  return a.rises ? a.threshold < b.threshold : a.threshold > b.threshold
}

/** The length of the whole way in the signal's unit, from a row that is somewhere on it; null when none is. */
function spanOf(group: MarginNow[], wall: MarginNow): number | null {
  if (wall.left !== null && wall.left_fraction !== null && wall.left_fraction > 0 && wall.left_fraction < 1) return wall.left / wall.left_fraction
  const other = group.find((m) => m !== wall && m.left !== null && m.left_fraction !== null && m.left_fraction > 0 && m.left_fraction < 1)
  return other ? other.left! / other.left_fraction! + Math.abs(wall.threshold - other.threshold) : null
}
