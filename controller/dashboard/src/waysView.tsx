// The heart of the page: every limit is a wall at the same place, every bar the way that is left to it.
import { duration, figure, limitFigure, tied, unitText, type Scale } from './format'
import type { StateNow } from './model'
import { Mark } from './parts'
import { scale } from './prefs'
import { T } from './texts'
import { ways, type Way } from './ways'

const sign = (way: Way) => (way.wall.rises ? '≥' : '≤')

const SOON_S = 600 // what the present trend takes from a bar within so long is drawn hollow

function Bar({ way, live }: { way: Way; live: boolean }) {
  const { wall } = way
  const left = way.left ?? 0
  const start = 100 * (1 - left)
  const soon = live && wall.armed && wall.seconds_to_limit !== null ? left * Math.min(1, SOON_S / Math.max(wall.seconds_to_limit, 1)) - 0.006 : 0
  return (
    <svg class="bar" viewBox="0 0 100 20" preserveAspectRatio="none" aria-hidden="true">
      <rect class="gone" x="0" y="9" width="100" height="2" />
      {left > 0 && <rect class="rest" x={start} y="3" width={100 - start} height="14" />}
      {soon > 0 && <rect class="soon" x={start + 0.6} y="5" width={100 * soon} height="10" />}
      {way.notches.map((n) => (
        <rect class={n.margin.standing ? 'notch passed' : 'notch'} key={n.margin.limit} x={100 - 100 * n.at - 0.3} y="0" width="0.9" height="20" />
      ))}
    </svg>
  )
}

function said(way: Way, live: boolean, units: Scale): string {
  const { wall } = way
  if (wall.bypassed) return T.ways.bypassed
  if (way.level === 'trip' || wall.standing) return live ? T.ways.reached : T.ways.wasReached
  if (wall.value === null) return T.ways.unseen
  if (!wall.armed) return T.ways.asleep
  const left = `${figure(wall.left ?? 0, wall.unit, units, true)} ${unitText(wall.unit, units)}`
  return live ? `${left} ${T.ways.left}` : T.ways.hadLeft(left)
}

function Row({ way, live }: { way: Way; live: boolean }) {
  const units = scale.value
  const { wall } = way
  const unit = unitText(wall.unit, units)
  const limit = `${limitFigure(wall.threshold, wall.unit, units)} ${unit}`
  const notch = way.notches.find((n) => n.margin.standing)
  const soon = live && wall.armed && way.level === 'quiet' ? wall.seconds_to_limit : null
  const near = way.nearest && live
  return (
    <li class={`way ${way.level} ${wall.armed ? '' : 'asleep'} ${wall.bypassed ? 'bypassed' : ''} ${live ? '' : 'stale'} ${near ? 'nearest' : ''}`}>
      <div class="way-head">
        <span class="way-title"><Level way={way} />{way.title}</span>
        <span class="way-left">{said(way, live, units)}</span>
      </div>
      <Bar way={way} live={live} />
      <div class="way-foot">
        <span>{wall.value === null ? tied(way.plain) || T.ways.unseen : `${live ? '' : `${T.ways.was} `}${figure(wall.value, wall.unit, units)} ${unit}`}</span>
        <span class="way-soon">
          {notch ? (live ? T.ways.alarmReached : T.ways.alarmWasReached) : [near && T.ways.nearest, soon !== null && T.ways.inAbout(duration(soon))].filter(Boolean).join(', ')}
        </span>
        <span class="way-limit">{T.ways.at(T.ways.effect[wall.effect], sign(way), limit)}</span>
      </div>
      {wall.value !== null && way.plain && <div class="way-plain">{way.plain}</div>}
    </li>
  )
}

const Level = ({ way }: { way: Way }) =>
  way.wall.bypassed ? <Mark kind="alarm" /> : way.level === 'quiet' ? null : <Mark kind={way.level === 'unseen' ? 'lost' : way.level} />

function YesNo({ way, live }: { way: Way; live: boolean }) {
  const word = way.wall.bypassed ? T.ways.bypassed : way.level === 'unseen' ? T.ways.unseen : way.level === 'quiet' ? T.ways.clear : T.ways.notClear
  return (
    <li class={`yesno ${way.level} ${way.wall.bypassed ? 'bypassed' : ''} ${live ? '' : 'stale'}`}>
      <span class="way-title">{way.title}</span>
      <b>
        <Level way={way} />
        {live ? word : `${T.ways.was} ${word}`}
      </b>
    </li>
  )
}

export function Ways({ state, live }: { state: StateNow; live: boolean }) {
  const rows = ways(state.margins, state.signals, state.nearest)
  return (
    <section id="ways" aria-labelledby="ways-title">
      <h2 id="ways-title">{live ? T.ways.title : T.ways.titleWas}</h2>
      {!rows.length && <p>{T.ways.noneTitle}</p>}
      <ul class="ways">{rows.filter((w) => !w.yesNo).map((w) => <Row key={w.key} way={w} live={live} />)}</ul>
      {rows.length > 0 && <p class="hint">{T.ways.hint}</p>}
      <ul class="yesnos" aria-label={T.ways.yesNoTitle}>{rows.filter((w) => w.yesNo).map((w) => <YesNo key={w.key} way={w} live={live} />)}</ul>
    </section>
  )
}
