//go:build !windows

package record

import (
	"errors"
	"io"
	"net"
	"time"
)

func dialAgent(socket string) (io.ReadWriteCloser, error) {
	if socket == "" {
		return nil, errors.New("SSH_AUTH_SOCK is empty: no agent is running")
	}
	return net.DialTimeout("unix", socket, 2*time.Second)
}
