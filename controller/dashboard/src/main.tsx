// The frame: top line, the part looked at, and below, in the thumb's reach, the parts and the stop.
import { effect, signal } from '@preact/signals'
import { render } from 'preact'
import './style.css'
import { Act, LogIn } from './act'
import { CommandSheet, may, open, Stop } from './command'
import { duration } from './format'
import { fresh } from './fresh'
import { beat, begin, connect, link, refused, rigOf, serverNow, silent, view } from './live'
import { Freshness, Now } from './now'
import { Mark } from './parts'
import { Record } from './record'
import { Rigs } from './rigs'
import { T } from './texts'
import { Trends } from './trends'

type Tab = keyof typeof T.tabs
const TABS = Object.keys(T.tabs) as Tab[]
const fromHash = (): Tab => TABS.find((t) => `#${t}` === location.hash) ?? 'now'
const tab = signal<Tab>(fromHash())
addEventListener('hashchange', () => { tab.value = fromHash(); scrollTo(0, 0) })

function App() {
  void beat.value
  const now = view.value
  const me = now?.me ?? null
  const state = now?.state ?? null
  const at = fresh(now, link.value, serverNow(), silent())
  const live = at.kind === 'live'
  const rig = now?.rig || rigOf(location.pathname)
  const list = now !== null && !rig
  const page = refused.value !== null
    ? <main><h2>{T.act.logInTitle}</h2><LogIn /><p class="hint">{T.act.noAccount}</p></main>
    : list
      ? <main>{at.kind !== 'unknown' && at.kind !== 'live' && <Freshness now={at} />}<Rigs rigs={now.rigs} /></main>
      : (
        <main id="main" tabIndex={-1}>
          <Freshness now={at} />
          {tab.value === 'now' && state && <Now state={state} now={at} me={me} />}
          {tab.value === 'trends' && <Trends rig={rig} state={state} />}
          {tab.value === 'record' && <Record rig={rig} state={state} me={me} />}
          {tab.value === 'act' && <Act rig={rig} state={state} me={me} live={live} />}
        </main>
      )
  return (
    <>
      <header class="top">
        {now && now.rigs.length > 1 && rig ? <a class="back" href="/" aria-label={T.rigs}>‹</a> : null}
        <h1>{rig || T.product}</h1>
        {!list && refused.value === null && (
          <span class={live ? 'pulse' : 'pulse off'} data-live={live}>
            {live ? T.live : <><Mark kind="lost" /> {at.age === null ? T.notLive : T.age(duration(at.age))}</>}
          </span>
        )}
        {state?.simulated && <p class="sim">{T.simulated}</p>}
      </header>
      {page}
      {refused.value === null && !list && (
        <footer class="dock">
          <nav aria-label={T.tabsLabel}>
            {TABS.map((t) => <a key={t} href={`#${t}`} aria-current={tab.value === t ? 'page' : undefined}>{T.tabs[t]}</a>)}
          </nav>
          {(me === null || may(me, 'stop')) && <Stop rig={rig} />}
        </footer>
      )}
      <CommandSheet />
    </>
  )
}

begin()
const root = document.getElementById('app')!
root.textContent = ''
render(<App />, root)

// Opened before any rig had spoken: the only one that then does is the one that was meant.
effect(() => {
  const now = view.value
  if (now && !now.rig && !rigOf(location.pathname) && now.rigs.length === 1) location.replace(`/rig/${encodeURIComponent(now.rigs[0]!.rig)}`)
})

// what tests, and the impatient, wait for
effect(() => {
  void beat.value
  const kind = fresh(view.value, link.value, serverNow(), silent()).kind
  document.documentElement.dataset['fresh'] = kind
  document.title = kind === 'live' && view.value?.state ? `${view.value.state.state} · ${view.value.rig}` : T.product
})

// A newer page: with a service worker it is fetched first, so that the reload brings it; once for each build, never in a hold.
const worker = isSecureContext && 'serviceWorker' in navigator ? navigator.serviceWorker : null
if (worker) void worker.register('/sw.js').catch(() => {})
effect(() => {
  const newer = view.value?.build
  const mine = window.lyewatch?.build
  if (!newer || !mine || newer === mine || open.value) return
  let tried: string | null = newer
  try { tried = sessionStorage.getItem('reloaded'); sessionStorage.setItem('reloaded', newer) } catch { /* then not at all */ }
  if (tried === newer) return
  if (!worker?.controller) return location.reload()
  worker.addEventListener('controllerchange', () => location.reload())
  void worker.getRegistration().then((r) => r?.update()).catch(() => connect())
})
