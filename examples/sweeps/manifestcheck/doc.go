// Package manifestcheck reads the Kubernetes manifest beside it with the
// published types, strictly. It is a module of its own, so that those types do
// not become a dependency of Holdline.
package manifestcheck
