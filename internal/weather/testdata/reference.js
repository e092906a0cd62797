// Works out with other people's libraries what the package under test does.
// Usage: node reference.js <node_modules>; questions on stdin, answers on
// stdout, both JSON, in the same order.
const [modules] = process.argv.slice(2)
const psychrolib = require(modules + '/psychrolib')
const astronomy = require(modules + '/astronomy-engine')

psychrolib.SetUnitSystem(psychrolib.SI)

// Times of the sun around the transit nearest to midday, in ms since 1970;
// null where there is none within half a day of it.
function sun({ latitude, longitude, midday }) {
  const at = new astronomy.Observer(latitude, longitude, 0)
  const transit = astronomy.SearchHourAngle('Sun', at, 0, new Date(midday - 12 * 3600e3)).time
  const ms = (time) => time && time.date.getTime()
  const horizon = (side) => ms(astronomy.SearchRiseSet('Sun', at, -side, transit, side / 2))
  // SearchAltitude looks ahead only.
  const civil = (side) => ms(astronomy.SearchAltitude('Sun', at, -side, side < 0 ? transit.AddDays(-0.5) : transit, 0.5, -6))
  return { transit: ms(transit), dawn: civil(-1), sunrise: horizon(-1), sunset: horizon(1), dusk: civil(1) }
}

const { dewPoints = [], pressures = [], suns = [] } = JSON.parse(require('fs').readFileSync(0, 'utf8'))
console.log(JSON.stringify({
  dewPoints: dewPoints.map(([c, rh]) => psychrolib.GetTDewPointFromRelHum(c, rh / 100)),
  pressures: pressures.map((c) => psychrolib.GetSatVapPres(c)),
  suns: suns.map(sun),
}))
