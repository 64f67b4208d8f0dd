// Several rigs on one broker: the worst stands first when this was opened, then each keeps its place.
import { useRef } from 'preact/hooks'
import { duration, tied } from './format'
import { LIVE_S, rank } from './fresh'
import { beat, serverNow } from './live'
import type { Brief } from './model'
import { Mark } from './parts'
import { T } from './texts'

const KINDS = ['trip', 'lost', 'alarm', null] as const

export function Rigs({ rigs }: { rigs: Brief[] }) {
  const order = useRef<string[]>([])
  void beat.value
  const now = serverNow()
  const news = rigs.filter((r) => !order.current.includes(r.rig)).sort((a, b) => rank(a, now) - rank(b, now) || a.rig.localeCompare(b.rig))
  order.current.push(...news.map((r) => r.rig))
  const byName = new Map(rigs.map((r) => [r.rig, r]))
  if (!rigs.length) return <p class="sentence">{T.noRig}</p>
  return (
    <nav aria-label={T.rigs}>
      <h2>{T.rigsTitle}</h2>
      <ul class="rigs">
        {order.current.map((name) => {
          const rig = byName.get(name)
          if (!rig) return null
          const kind = KINDS[rank(rig, now)]
          const live = rig.arrived !== null && now - rig.arrived <= LIVE_S
          return (
            <li key={name}><a href={`/rig/${encodeURIComponent(name)}`}>
              <b>{kind && <Mark kind={kind} />} {name}</b>
              <span class="tags">{rig.state}{live ? '' : ` · ${rig.arrived === null ? T.fresh.retained[0] : T.age(duration(now - rig.arrived))}`}{rig.simulated && ` · ${T.simulatedShort}`}</span>
              <span>{live ? tied(rig.sentence) : `“${tied(rig.sentence)}”`}</span>
            </a></li>
          )
        })}
      </ul>
    </nav>
  )
}
