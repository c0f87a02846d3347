package level

import (
	"fmt"

	"afterbeam/internal/quantity"
)

// Quantity is what a level compares.
type Quantity string

// The quantities. QuantityNone is a rule without a number: text for people.
const (
	PSD            Quantity = "psd"
	Kerma          Quantity = "kar"
	KAP            Quantity = "kap"
	FluoroTime     Quantity = "ft"
	QuantityNone   Quantity = "none"
	printDecimals           = 2
	printTimeDigit          = 1
)

// String names the quantity for people.
func (q Quantity) String() string {
	switch q {
	case PSD:
		return "estimated peak skin dose"
	case Kerma:
		return "Ka,r"
	case KAP:
		return "KAP"
	case FluoroTime:
		return "fluoroscopy time"
	case QuantityNone:
	}
	return "no quantity"
}

// Unit gives the unit in which a quantity's levels are written, and its size in the canonical unit.
func (q Quantity) Unit() (name string, size float64) {
	switch q {
	case PSD, Kerma:
		return "Gy", 1
	case KAP:
		return "Gy.cm2", float64(quantity.GraySquareCentimetre)
	case FluoroTime:
		return "min", float64(quantity.Minute)
	case QuantityNone:
	}
	return "", 1
}

// Print gives a canonical value with its unit; a value below the level never prints as the level.
func (q Quantity) Print(value, level float64) string {
	_, size := q.Unit()
	v, l := value/size, level/size
	switch q {
	case PSD, Kerma:
		return quantity.Below(v, printDecimals, l) + " Gy"
	case KAP:
		return quantity.Below(v, 0, l) + " Gy cm2"
	case FluoroTime:
		return quantity.Below(v, printTimeDigit, l) + " min"
	case QuantityNone:
	}
	return fmt.Sprint(value)
}
