// Is what we see live? Judged here, by this phone's own steady clock from the arrival of each message; nobody else's clock
// is believed, and presence only explains.
import type { StateNow, View } from './model'

export const LIVE_S = 3
export const BEAT_LOST_S = 6

/** The server's steady clock as seen from here. It may only err towards older. */
export class Steady {
  private t = 0
  private at = 0
  private wall = 0
  private least = Infinity
  private late = 0

  /** A message that the server sent at `t` arrived; times in seconds. */
  heard(t: number, at: number, wall: number): void {
    this.least = Math.min(this.least, at - t)
    this.late = at - t - this.least // held up on the way, while the phone slept or the line was stuck
    this.t = t
    this.at = at
    this.wall = wall
  }

  /** A new connection: another server process has another clock. */
  anew(): void {
    this.least = Infinity
  }

  /** Seconds since anything was heard. A steady clock stands still while some phones sleep; the wall clock does not. */
  silent(at: number, wall: number): number {
    return Math.max(at - this.at, wall - this.wall, 0)
  }

  now(at: number, wall: number): number {
    return this.t + this.late + this.silent(at, wall)
  }
}

export type Link = 'connecting' | 'open' | 'lost'
export type Kind = 'live' | 'connecting' | 'phone' | 'broker' | 'gone' | 'ended' | 'silent' | 'retained' | 'unknown'

export interface Fresh {
  kind: Kind
  age: number | null // seconds since the rig's newest word reached the server; null: not known
}

export function fresh(view: View | null, link: Link, now: number, silent: number): Fresh {
  if (!view) return { kind: link === 'lost' ? 'phone' : 'connecting', age: null }
  const age = view.arrived === null ? null : Math.max(0, now - view.arrived)
  const here = age !== null && age <= LIVE_S
  if (silent > BEAT_LOST_S || (link === 'lost' && !here)) return { kind: 'phone', age }
  if (!view.broker.up) return { kind: 'broker', age }
  if (here) return { kind: 'live', age }
  if (!view.state) return { kind: 'unknown', age }
  if (view.presence?.present === 'gone') return { kind: 'gone', age }
  if (view.presence?.present === 'ended') return { kind: 'ended', age }
  return { kind: age === null ? 'retained' : 'silent', age }
}

export const WATCHER_SILENT_S = 60 // it says that it is there each 20 s

export type Told = 'yes' | 'nobody' | 'unknown'

/** Whether anybody would be told. What a broker kept of a notify is no word of its own, and soon counts for nothing. */
export function told(view: Pick<View, 'watchers' | 'broker'>, now: number): Told {
  const here = Object.values(view.watchers).filter((w) => w.present === 'here')
  if (here.some((w) => w.arrived !== null && now - w.arrived <= WATCHER_SILENT_S)) return 'yes'
  return here.length > 0 && now - view.broker.since <= WATCHER_SILENT_S ? 'unknown' : 'nobody'
}

export interface Doubt { clock: boolean; clocks_differ_s: number | null; bad: { title: string; plain: string }[] }

/** What is wrong although messages arrive: sensors that are not to be believed, clocks that are not set. */
export function doubts(state: StateNow | null, age: number | null, wall: number): Doubt {
  if (!state) return { clock: false, clocks_differ_s: null, bad: [] }
  const apart = age === null || !state.clock_synchronised ? 0 : wall - age - state.time_s
  return {
    clock: !state.clock_synchronised,
    clocks_differ_s: Math.abs(apart) > 120 ? apart : null,
    bad: state.signals.filter((s) => s.status !== 'good' && s.status !== 'maintenance required').map(({ title, plain }) => ({ title, plain })),
  }
}

/** Worst first: tripped, unheard of, alarm, well. */
export function rank(brief: { trips: number; alarms: number; arrived: number | null }, now: number): number {
  if (brief.trips) return 0
  if (brief.arrived === null || now - brief.arrived > LIVE_S) return 1
  return brief.alarms ? 2 : 3
}
