// SPDX-License-Identifier: Apache-2.0

// Package kernel tests the program against a real Linux kernel: in a small
// virtual machine with a GPIO controller whose lines are moved from outside,
// a virtual USB pedal and a loopback sound card. tests/kernel/fetch brings the
// kernel; the machine is emulated in software, so its times are upper bounds
// and no board's. The tests must not need a right, a device or a kernel of the
// machine that they run on.
package kernel
