package mqtt

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
)

// Description is Homie's $description of the root device.
type Description struct {
	Homie   string          `json:"homie"`   // major.minor of the convention
	Version int64           `json:"version"` // higher at every change of the rest
	Name    string          `json:"name,omitempty"`
	Nodes   map[string]Node `json:"nodes"`
}

// Node is one node of a device.
type Node struct {
	Name       string              `json:"name,omitempty"`
	Properties map[string]Property `json:"properties"`
}

// Property is one property of a node. Without more words it is retained and cannot be set, which are Homie's defaults.
type Property struct {
	Name     string `json:"name,omitempty"`
	Datatype string `json:"datatype"`
	Format   string `json:"format,omitempty"`
	Unit     string `json:"unit,omitempty"`
	Settable bool   `json:"settable,omitempty"`
	Retained *bool  `json:"retained,omitempty"`
}

// Hash is the same for descriptions that differ in nothing but the version.
func (d Description) Hash() string {
	d.Version = 0
	sum := sha256.Sum256([]byte(d.JSON()))
	return hex.EncodeToString(sum[:])
}

// JSON writes the description. Keys are sorted, so equal descriptions are equal texts.
func (d Description) JSON() string {
	b, err := json.Marshal(d)
	if err != nil {
		panic(fmt.Sprintf("mqtt: a description of strings and numbers does not marshal: %v", err))
	}
	return string(b)
}
