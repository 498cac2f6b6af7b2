// Package sheets makes the paper of a class: shopping list, station cards, canner board, jar labels, sign-in sheet and
// seal check. It is a client of the services: it asks them what a sheet needs, with the identity of whoever asks, and
// puts the answers into a page.Document, from which HTML and PDF are written alike.
//
// A sheet says nothing that no service said: process, cautions and their sources come with the load plan, what to do
// with unsealed jars with the class's procedure. Times of day are those of the site's clock.
package sheets
