package meteo

import "math"

// WindAt2m brings a wind speed u in m/s from height z in metres to 2 m: u
// 4.87 / ln(67.8 z - 5.42).
//
// Source: published, FAO-56 eq. 47. Valid over short grass, for z from 0.1 m
// (where the logarithm still makes sense) to 100 m; not inside an orchard:
// there keep u and flag "height not corrected". Errors: [ErrRange],
// [ErrNotFinite].
func WindAt2m(u, z float64) (float64, error) {
	if err := within("wind", u, 0, 75, "m/s"); err != nil {
		return 0, err
	}
	// At z = 0.1 m the divisor is ln 1.36; below 0.095 m it turns negative.
	if err := within("height", z, 0.1, 100, "m"); err != nil {
		return 0, err
	}
	return u * 4.87 / math.Log(67.8*z-5.42), nil
}

// A WindMeter averages wind: speed as a plain mean, direction as the mean of
// vectors, gusts as the largest (project rule for aggregated hours). The zero
// value is ready.
type WindMeter struct {
	n         int
	speed     float64
	east      float64
	north     float64
	gust      float64
	withAngle int
}

// Add takes one reading: speed in m/s, direction the wind comes FROM in
// degrees (north is 360, 0 means calm), gust in m/s; NaN for what was not
// measured. A reading whose speed is missing or negative is left out, its
// gust is not.
func (m *WindMeter) Add(speed, from, gust float64) {
	if usable(gust) {
		m.gust = math.Max(m.gust, gust)
	}
	if !usable(speed) || speed < 0 {
		return
	}
	m.n++
	m.speed += speed
	m.gust = math.Max(m.gust, speed)
	if usable(from) && speed > 0 && from > 0 && from <= 360 {
		m.withAngle++
		m.east += speed * math.Sin(from*radians)
		m.north += speed * math.Cos(from*radians)
	}
}

// Result gives the mean speed and the largest gust in m/s, the mean direction
// in degrees, over 0 to 360 with 360 for north, and the number of speeds. The
// direction is 0, calm, where the vectors cancel or none was measured; speed is
// NaN without any reading. Source: vector mean for direction, scalar mean for
// speed, project rule after common practice.
func (m *WindMeter) Result() (speed, from, gust float64, n int) {
	if m.n == 0 {
		return math.NaN(), 0, m.gust, 0
	}
	if length := math.Hypot(m.east, m.north); m.withAngle > 0 && length > 1e-9*m.speed {
		from = math.Atan2(m.east, m.north) * degrees
		if from <= 0 {
			from += 360
		}
	}
	return m.speed / float64(m.n), from, m.gust, m.n
}

// HourValid tells whether an hour has enough of its samples, at least 75 %, to
// be used as an aggregate. Source: project rule. No expected samples: false.
func HourValid(samples, expected int) bool {
	return expected > 0 && 4*samples >= 3*expected
}
