package httpapi

import "afterbeam/internal/access"

// CheckContractWith checks the permissions against the contract with one more operation.
func CheckContractWith(operation string) error {
	spec, err := GetSpec()
	if err != nil {
		return err
	}
	all := named(operations(spec), (&Server{}).dicomweb(), (&Server{}).resources().Operations())
	all[access.Operation(operation)] = true
	return checkPermissions(all)
}

// Remembered counts what a bounded memory of two holds after it saw the keys, and gives the values it has for them.
func Remembered(keys ...string) (held int, values []int) {
	r := newRecent[int](2)
	for i, key := range keys {
		values = append(values, *r.get(key, func() int { return i }))
	}
	return r.order.Len(), values
}
