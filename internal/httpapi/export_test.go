package httpapi

import "afterbeam/internal/access"

// CheckContractWith checks the permissions against the contract with one more operation.
func CheckContractWith(operation string) error {
	spec, err := GetSpec()
	if err != nil {
		return err
	}
	all := operations(spec)
	all[access.Operation(operation)] = &schema{}
	return checkPermissions(all)
}
