module tallyhood

go 1.26

require (
	github.com/gorilla/websocket v1.5.3
	github.com/spf13/cobra v1.10.2
	go.etcd.io/bbolt v1.5.0
	golang.org/x/sys v0.45.0
	pgregory.net/rapid v1.3.0
)

require (
	github.com/coreos/go-systemd/v22 v22.7.0 // indirect
	github.com/inconshreveable/mousetrap v1.1.0 // indirect
	github.com/pelletier/go-toml/v2 v2.4.3 // indirect
	github.com/spf13/pflag v1.0.10 // indirect
	periph.io/x/conn/v3 v3.7.3 // indirect
	periph.io/x/host/v3 v3.8.5 // indirect
)
