// Package listing writes whole lists as tables: every procedure of a period, and every irradiation event of them.
//
// A reader needs three things: Ask says which and for whom, Procedures and Events write one of the tables, row by row and at
// constant memory whatever its length, and the Digest that they give says how many rows it has and what its bytes are. Without
// Ask.Identified there is no identifier in a table: no name, number, birth date, accession number or UID; patients and operators
// stand under pseudonyms of the site. That alone makes no table anonymous: it stays inside the department.
package listing
