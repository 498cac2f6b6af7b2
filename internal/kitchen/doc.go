// Package kitchen holds what an instructor organises: kitchens and their sites,
// classes with stations and batches, rosters, equipment, and the batch plan that
// turns a roster and a list of wishes into whole batches at stations.
//
// Everything is named by the last segment of its resource name ("saturday-relish");
// a name is unique within its parent. The package knows neither SQL nor the wire.
package kitchen
