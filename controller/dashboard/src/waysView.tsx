// The heart of the page: every limit is a wall at the same place, every bar the way that is left to it.
import { duration, figure, limitFigure, unitText, type Scale } from './format'
import type { StateNow } from './model'
import { Mark } from './parts'
import { scale } from './prefs'
import { T } from './texts'
import { ways, type Way } from './ways'

const sign = (way: Way) => (way.wall.rises ? '≥' : '≤')

function Bar({ way, live }: { way: Way; live: boolean }) {
  const start = way.left === null ? 100 : 100 * (1 - way.left)
  return (
    <svg class="bar" viewBox="0 0 100 20" preserveAspectRatio="none" aria-hidden="true">
      <rect class="gone" x="0" y="9" width="100" height="2" />
      {way.left !== null && way.left > 0 && (
        <rect class={live ? 'rest' : 'rest old'} x={start} y="3" width={100 - start} height="14" />
      )}
      {way.notches.map((n) => (
        <rect class={n.margin.standing ? 'notch passed' : 'notch'} key={n.margin.limit} x={100 - 100 * n.at - 0.3} y="0" width="0.9" height="20" />
      ))}
    </svg>
  )
}

function said(way: Way, live: boolean, units: Scale): string {
  const { wall } = way
  if (wall.bypassed) return T.ways.bypassed
  if (way.level === 'trip') return T.ways.reached
  if (wall.value === null) return T.ways.unseen
  if (!wall.armed && (wall.left ?? 0) <= 0) return T.ways.asleep // at rest it lies beyond, and that is well
  const left = figure(wall.left ?? 0, wall.unit, units, true)
  return `${left} ${unitText(wall.unit, units)} ${live ? T.ways.left : T.ways.was}`
}

function Row({ way, live }: { way: Way; live: boolean }) {
  const units = scale.value
  const { wall } = way
  const unit = unitText(wall.unit, units)
  const limit = `${limitFigure(wall.threshold, wall.unit, units)} ${unit}`
  const notch = way.notches.find((n) => n.margin.standing)
  const soon = live ? wall.seconds_to_limit : null
  return (
    <li class={`way ${way.level} ${wall.armed ? '' : 'asleep'} ${live ? '' : 'stale'} ${way.nearest && live ? 'nearest' : ''}`}>
      <div class="way-head">
        <span class="way-title">
          {way.level !== 'quiet' && <Mark kind={way.level === 'unseen' ? 'lost' : way.level} />}
          {way.title}
          {way.nearest && live && <em>{T.ways.nearest}</em>}
        </span>
        <span class="way-left">{said(way, live, units)}</span>
      </div>
      <Bar way={way} live={live} />
      <div class="way-foot">
        <span>{wall.value === null ? way.plain || T.ways.unseen : `${live ? '' : `${T.ways.was} `}${figure(wall.value, wall.unit, units)} ${unit}`}</span>
        <span class="way-soon">
          {notch ? T.ways.alarmReached : !wall.armed && (wall.left ?? 0) > 0 ? T.ways.asleep : soon !== null && wall.armed && way.level === 'quiet' ? T.ways.inAbout(duration(soon)) : ''}
        </span>
        <span class="way-limit">{T.ways.at(T.ways.effect[wall.effect], sign(way), limit)}</span>
      </div>
      {wall.value !== null && way.plain && <div class="way-plain">{way.plain}</div>}
    </li>
  )
}

function YesNo({ way, live }: { way: Way; live: boolean }) {
  const word = way.wall.bypassed ? T.ways.bypassed : way.level === 'unseen' ? T.ways.unseen : way.level === 'quiet' ? T.ways.clear : T.ways.notClear
  return (
    <li class={`yesno ${way.level} ${live ? '' : 'stale'}`}>
      <span class="way-title">{way.title}</span>
      <b>
        {way.level !== 'quiet' && <Mark kind={way.level === 'unseen' ? 'lost' : way.level} />}
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
