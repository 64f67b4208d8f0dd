// The pure parts of the phone page: run with `npm test` in controller/dashboard.
import { describe, expect, test } from 'vitest'
import { applied } from '../../../controller/dashboard/src/difference'
import { clock, duration, figure, limitFigure, tied, unitText } from '../../../controller/dashboard/src/format'
import { doubts, fresh, rank, Steady, told } from '../../../controller/dashboard/src/fresh'
import type { MarginNow, SignalNow, StateNow, View } from '../../../controller/dashboard/src/model'
import { ways } from '../../../controller/dashboard/src/ways'

const margin = (more: Partial<MarginNow>): MarginNow => ({
  limit: 'x', title: 'X', signal: 's', unit: 'C', value: 50, threshold: 70, rises: true, effect: 'trip', armed: true, left: 20,
  left_fraction: 0.5, seconds_to_limit: null, standing: false, bypassed: false, ...more,
})
const signal = (more: Partial<SignalNow>): SignalNow => ({ name: 's', title: 'Lye', unit: 'C', value: 50, status: 'good', plain: 'good', age_s: 0, ...more })
const view = (more: Partial<View>): View => ({
  build: 'b', broker: { up: true, since: 0, why: '' }, rig: 'r', arrived: 100, presence: null, state: {} as StateNow, watchers: {}, rigs: [], me: null, ...more,
})

describe('what is live', () => {
  test('a message that arrived within three seconds is live, one that is older is not', () => {
    expect(fresh(view({}), 'open', 103, 0).kind).toBe('live')
    expect(fresh(view({}), 'open', 103.1, 0).kind).toBe('silent')
  })
  test('each way of hearing nothing has its own word', () => {
    expect(fresh(view({ broker: { up: false, since: 0, why: '' } }), 'open', 101, 0).kind).toBe('broker')
    expect(fresh(view({ presence: { present: 'gone', time_s: null } }), 'open', 110, 0).kind).toBe('gone')
    expect(fresh(view({ presence: { present: 'ended', time_s: null } }), 'open', 110, 0).kind).toBe('ended')
    expect(fresh(view({ presence: { present: 'here', time_s: null } }), 'open', 110, 0).kind).toBe('silent')
    expect(fresh(view({ arrived: null }), 'open', 110, 0).kind).toBe('retained')
    expect(fresh(view({ arrived: null, state: null }), 'open', 110, 0).kind).toBe('unknown')
    expect(fresh(view({}), 'lost', 110, 7).kind).toBe('phone')
    expect(fresh(null, 'connecting', 0, 0).kind).toBe('connecting')
  })
  test('presence explains a silence but never contradicts what arrives', () => {
    expect(fresh(view({ presence: { present: 'gone', time_s: null } }), 'open', 101, 0).kind).toBe('live')
  })
  test('a message held up on the way counts as old from when it was sent', () => {
    const steady = new Steady()
    steady.heard(10, 1000, 5000)
    steady.heard(11, 1031, 5031) // thirty seconds late: the phone slept
    expect(steady.now(1031, 5031)).toBeCloseTo(41)
  })
  test('time goes on although the steady clock stood still in the phone’s sleep', () => {
    const steady = new Steady()
    steady.heard(10, 1000, 5000)
    expect(steady.now(1000.5, 5600)).toBeCloseTo(610)
  })
  test('a wall clock that is set back makes nothing younger', () => {
    const steady = new Steady()
    steady.heard(10, 1000, 5000)
    expect(steady.now(1004, 100)).toBeCloseTo(14)
  })
  test('a clock that is not set, and a sensor that is lost, are two doubts', () => {
    const state = { clock_synchronised: false, time_s: 0, signals: [signal({}), signal({ title: 'Flow', status: 'failure', plain: 'sensor lost' })] } as unknown as StateNow
    expect(doubts(state, 0, 1e9)).toEqual({ clock: true, clocks_differ_s: null, bad: [{ title: 'Flow', plain: 'sensor lost' }] })
  })
  test('two clocks apart by more than two minutes are said to differ', () => {
    const state = { clock_synchronised: true, time_s: 1000, signals: [] } as unknown as StateNow
    expect(doubts(state, 1, 1121).clocks_differ_s).toBeNull()
    expect(doubts(state, 1, 1301).clocks_differ_s).toBe(300)
  })
  test('tripped stands before unheard of, before alarmed, before well', () => {
    const well = { trips: 0, alarms: 0, arrived: 100 }
    expect([well, { ...well, alarms: 1 }, { ...well, arrived: 90 }, { ...well, trips: 1, arrived: 90 }].map((b) => rank(b, 101))).toEqual([3, 2, 1, 0])
  })
})

describe('the way left', () => {
  test('limits of one signal and side are one row, the trip its wall, the alarm a notch on the way', () => {
    const [row, ...none] = ways([margin({ limit: 'a', effect: 'alarm', threshold: 60, left: 10, left_fraction: 10 / 30 }), margin({ limit: 't', left: 20, left_fraction: 0.5 })], [signal({})], 'a')
    expect(none).toEqual([])
    expect(row!.wall.limit).toBe('t')
    expect(row!.notches.map((n) => [n.margin.limit, n.at])).toEqual([['a', 0.25]]) // the whole way is 40, the alarm 10 before its end
    expect(row!.nearest).toBe(true)
  })
  test('a low and a high limit of one signal are two rows, in the controller’s order', () => {
    const rows = ways([margin({ limit: 'high' }), margin({ limit: 'low', rises: false, threshold: 9 })], [signal({})], null)
    expect(rows.map((r) => r.wall.limit)).toEqual(['high', 'low'])
  })
  test('the wall is the first limit on the way that takes the power and is armed; what lies behind it or sleeps is none', () => {
    const amps = (more: Partial<MarginNow>) => margin({ unit: 'A', value: 24, ...more })
    const limits = (on: boolean) => [
      amps({ limit: 'too much', threshold: 35, left: 11, left_fraction: 0.3, armed: on }),
      amps({ limit: 'short', threshold: 45.5, left: 21.5, left_fraction: 0.5, armed: on }),
      amps({ limit: 'while off', threshold: 0.5, left: -23.5, left_fraction: 0, armed: !on }),
      amps({ limit: 'high', threshold: 32, effect: 'alarm', left: 8, left_fraction: 0.3, armed: on }),
      amps({ limit: 'reversed', rises: false, threshold: -1, left: 25, left_fraction: 1, armed: on }),
      amps({ limit: 'too small', rises: false, threshold: 9, effect: 'stop', left: 15, left_fraction: 0.7, armed: on }),
    ]
    const shown = (on: boolean) => ways(limits(on), [], null).map((r) => [r.wall.limit, ...r.notches.map((n) => n.margin.limit)])
    expect(shown(true)).toEqual([['too much', 'high'], ['too small']])
    expect(shown(false)).toEqual([['while off'], ['too small']])
  })
  test('what stops in order is yellow, what trips is red', () => {
    expect(ways([margin({ standing: true, effect: 'stop' })], [signal({})], null)[0]!.level).toBe('alarm')
  })
  test('the level is the controller’s word: a short way alone is no alarm', () => {
    expect(ways([margin({ left: 0.1, left_fraction: 0.01 })], [signal({})], null)[0]!.level).toBe('quiet')
    expect(ways([margin({ standing: true })], [signal({})], null)[0]!.level).toBe('trip')
    expect(ways([margin({ standing: true, effect: 'alarm' })], [signal({})], null)[0]!.level).toBe('alarm')
  })
  test('what is not seen has no bar and is not well', () => {
    const row = ways([margin({ value: null, left: null, left_fraction: null })], [signal({ value: null, status: 'failure', plain: 'sensor lost' })], null)[0]!
    expect([row.level, row.left, row.plain]).toEqual(['unseen', null, 'sensor lost'])
  })
})

describe('numbers for the eye', () => {
  test('a temperature moves its zero in Fahrenheit, a difference does not', () => {
    expect(figure(100, 'C', 'F')).toBe('212')
    expect(figure(10, 'C', 'F', true)).toBe('18')
    expect(limitFigure(70, 'C', 'F')).toBe('158')
    expect(unitText('C', 'F')).toBe('°F')
  })
  test('no unit but the temperature changes, and nothing is minus nought', () => {
    expect(figure(0.2, 'L/min', 'F')).toBe('0.20')
    expect(figure(-0.001, 'A', 'C')).toBe('0.0')
    expect(figure(-3, 'A', 'C')).toBe('−3.0')
  })
  test('durations are short and never too long', () => {
    expect([0.2, 59.9, 60, 3599, 3600, 5000, 90000, 49 * 3600].map(duration)).toEqual(['under 1 s', '59 s', '1 min', '59 min', '1 h', '1 h 23 min', '25 h', '2 d 1 h'])
  })
  test('the controller’s words get their degree sign and keep a number with its unit, and nothing else of them changes', () => {
    expect(tied('16.0 C left of 70 C; 24 A in cell 2 C-clamp, about 40 min')).toBe('16.0\u00a0°C left of 70\u00a0°C; 24\u00a0A in cell 2\u00a0C-clamp, about 40\u00a0min')
    expect(tied('Lye temperature is nearest')).toBe('Lye temperature is nearest')
  })
  test('a time of another day says its day', () => {
    const noon = new Date(2026, 4, 12, 12, 0).getTime() / 1000
    expect(clock(noon, noon + 60)).toBe('12:00')
    expect(clock(noon, noon + 86400)).toBe('12 May, 12:00')
  })
})

describe('differences', () => {
  test('a list of one replaces, an object goes deeper, also into lists', () => {
    expect(applied({ a: 1, b: [1, 2, { c: 3 }], d: null }, { a: [2], b: { 2: { c: [4] } }, d: [[5]] })).toEqual({ a: 2, b: [1, 2, { c: 4 }], d: [5] })
  })
  test('what did not change is the same object, so that nothing is drawn anew', () => {
    const old = { a: { x: 1 }, b: { y: 1 } }
    const now = applied(old, { b: { y: [2] } }) as typeof old
    expect(now.a).toBe(old.a)
  })
})

describe('whether anybody would be told', () => {
  const asked = (present: 'here' | 'gone' | 'ended', arrived: number | null, since = 0) =>
    told({ broker: { up: true, since, why: '' }, watchers: { n: { present, arrived } } }, 100)
  test('yes only while a notify has spoken lately', () => {
    expect(asked('here', 41)).toBe('yes')
    expect(asked('here', 39)).toBe('nobody')
  })
  test('what the broker kept is not known at first, and then nobody', () => {
    expect(asked('here', null, 41)).toBe('unknown')
    expect(asked('here', null, 39)).toBe('nobody')
  })
  test('one that is gone or was ended tells nobody, however lately it said so', () => {
    expect(asked('gone', 99, 99)).toBe('nobody')
    expect(asked('ended', 99, 99)).toBe('nobody')
  })
  test('none at all is nobody, one of two is enough', () => {
    const broker = { up: true, since: 99, why: '' }
    expect(told({ broker, watchers: {} }, 100)).toBe('nobody')
    expect(told({ broker, watchers: { a: { present: 'gone', arrived: 99 }, b: { present: 'here', arrived: 99 } } }, 100)).toBe('yes')
  })
})
