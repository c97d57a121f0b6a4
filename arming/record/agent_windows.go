//go:build windows

package record

import (
	"io"
	"os"
)

// systemAgent is the named pipe of the agent that comes with Windows.
const systemAgent = `\\.\pipe\openssh-ssh-agent`

func dialAgent(socket string) (io.ReadWriteCloser, error) {
	if socket == "" {
		socket = systemAgent
	}
	return os.OpenFile(socket, os.O_RDWR, 0)
}
