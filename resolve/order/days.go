package order

import (
	"slices"
	"strconv"
	"time"

	"platewright/catalog"
	"platewright/resolve/purchase"
)

// Sends gives the day on which a supplier sends off what is ordered at the moment:
// that day, or the next working day where it is none or the time of day named for
// it (hh:mm, "" for none) has passed. Zero for a moment that is not known.
func Sends(moment time.Time, cutoff string, works purchase.Calendar) catalog.Date {
	if moment.IsZero() {
		return 0
	}
	day := time.Date(moment.Year(), moment.Month(), moment.Day(), 0, 0, 0, 0, time.UTC)
	if len(cutoff) == len("15:30") {
		h, err1 := strconv.Atoi(cutoff[:2])
		m, err2 := strconv.Atoi(cutoff[3:])
		if err1 == nil && err2 == nil && moment.Hour()*60+moment.Minute() > h*60+m {
			day = day.AddDate(0, 0, 1)
		}
	}
	for range 366 {
		if working(day, works) {
			return dateOf(day)
		}
		day = day.AddDate(0, 0, 1)
	}
	return 0
}

func working(day time.Time, works purchase.Calendar) bool {
	rest := works.Rest
	if rest == nil {
		rest = []time.Weekday{time.Saturday, time.Sunday}
	}
	return !slices.Contains(rest, day.Weekday()) && !slices.Contains(works.Holidays, dateOf(day))
}

func dateOf(t time.Time) catalog.Date {
	return catalog.Date(t.Year()*10000 + int(t.Month())*100 + t.Day())
}

// dayBefore gives the day before one that is known to the day.
func dayBefore(d catalog.Date) catalog.Date {
	return dateOf(time.Date(int(d/10000), time.Month(d/100%100), int(d%100)-1, 0, 0, 0, 0, time.UTC))
}
