package ensemble

import (
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"

	"example.org/coldseam"
)

// Packed is a run of float32 that marshals to base64, so that a stored model
// stays small and comes back to the bit.
type Packed []float32

// MarshalJSON writes little-endian float32 in standard base64.
func (p Packed) MarshalJSON() ([]byte, error) {
	b := make([]byte, 4*len(p))
	for i, v := range p {
		binary.LittleEndian.PutUint32(b[4*i:], math.Float32bits(v))
	}
	return json.Marshal(base64.StdEncoding.EncodeToString(b))
}

// UnmarshalJSON reads what MarshalJSON wrote.
func (p *Packed) UnmarshalJSON(raw []byte) error {
	var s string
	if err := json.Unmarshal(raw, &s); err != nil {
		return fmt.Errorf("packed numbers: %w: %w", err, coldseam.ErrInvalid)
	}
	b, err := base64.StdEncoding.DecodeString(s)
	if err != nil || len(b)%4 != 0 {
		return fmt.Errorf("packed numbers: %d bytes of base64 are no run of 4-byte numbers: %w", len(b),
			coldseam.ErrInvalid)
	}
	*p = make(Packed, len(b)/4)
	for i := range *p {
		(*p)[i] = math.Float32frombits(binary.LittleEndian.Uint32(b[4*i:]))
	}
	return nil
}

// Centi is a run of hundredths that marshals to base64: temperatures and
// their residuals, good to 0.01 degC and within +-327 degC.
type Centi []int16

// ToCenti rounds v to hundredths, within the range of Centi.
func ToCenti(v float64) int16 {
	return int16(min(max(math.Round(v*100), -32000), 32000))
}

// MarshalJSON writes little-endian int16 in standard base64.
func (p Centi) MarshalJSON() ([]byte, error) {
	b := make([]byte, 2*len(p))
	for i, v := range p {
		binary.LittleEndian.PutUint16(b[2*i:], uint16(v))
	}
	return json.Marshal(base64.StdEncoding.EncodeToString(b))
}

// UnmarshalJSON reads what MarshalJSON wrote.
func (p *Centi) UnmarshalJSON(raw []byte) error {
	var s string
	if err := json.Unmarshal(raw, &s); err != nil {
		return fmt.Errorf("packed numbers: %w: %w", err, coldseam.ErrInvalid)
	}
	b, err := base64.StdEncoding.DecodeString(s)
	if err != nil || len(b)%2 != 0 {
		return fmt.Errorf("packed numbers: %d bytes of base64 are no run of 2-byte numbers: %w", len(b),
			coldseam.ErrInvalid)
	}
	*p = make(Centi, len(b)/2)
	for i := range *p {
		(*p)[i] = int16(binary.LittleEndian.Uint16(b[2*i:]))
	}
	return nil
}
