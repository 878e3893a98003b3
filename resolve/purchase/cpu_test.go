package purchase

import (
	"syscall"
	"time"
)

func cpu() time.Duration {
	var u syscall.Rusage
	syscall.Getrusage(0, &u)
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
