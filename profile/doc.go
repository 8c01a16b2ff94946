// Package profile reads the product file: what a product is made of, how it is
// shaped, and the stages that dry, smoke, cook and chill it. It validates and it
// never touches a disk: files come in as bytes.
package profile
