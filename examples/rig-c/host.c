/* The C rig on a desk: on standard input and output, or on a pseudo-terminal of
   its own, whose name it prints.

       rig-host          speaks on standard input and output
       rig-host -p       opens a pseudo-terminal and prints its path */

#define _XOPEN_SOURCE 600

#include "glue.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

static int in_fd = 0, out_fd = 1;
static uint8_t waiting[4096];
static size_t waiting_n;

uint32_t board_micros(void)
{
	struct timespec t;

	clock_gettime(CLOCK_MONOTONIC, &t);
	return (uint32_t)((uint64_t)t.tv_sec * 1000000u + (uint64_t)t.tv_nsec / 1000u);
}

/* Waits a moment until bytes go out again. */
static int room(void)
{
	struct pollfd p;

	p.fd = out_fd;
	p.events = POLLOUT;
	p.revents = 0;
	return poll(&p, 1, 50) > 0;
}

static void flush(void)
{
	size_t at = 0;
	ssize_t n;

	while (at < waiting_n) {
		n = write(out_fd, waiting + at, waiting_n - at);
		if (n < 0 && errno == EAGAIN && room())
			continue;
		if (n <= 0)
			break; /* nobody listens: the bench repeats what it misses */
		at += (size_t)n;
	}
	waiting_n = 0;
}

void board_write(const uint8_t *bytes, uint16_t n)
{
	if (waiting_n + n > sizeof waiting)
		flush();
	memcpy(waiting + waiting_n, bytes, n);
	waiting_n += n;
}

void board_pins(uint16_t injectors, uint16_t coils)
{
	(void)injectors;
	(void)coils; /* a desk has no pins */
}

void board_dropped(uint32_t after) { fprintf(stderr, "off after %lu us\n", (unsigned long)after); }

/* Opens a pseudo-terminal. Its other end is held open, so that the bench may
   come and go. */
static int open_terminal(void)
{
	struct termios raw;
	int fd = posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK), held;

	if (fd < 0 || grantpt(fd) != 0 || unlockpt(fd) != 0)
		return -1;
	held = open(ptsname(fd), O_RDWR | O_NOCTTY);
	if (held < 0 || tcgetattr(held, &raw) != 0)
		return -1;
	raw.c_iflag = 0;
	raw.c_oflag = 0;
	raw.c_lflag = 0;
	raw.c_cc[VMIN] = 1;
	raw.c_cc[VTIME] = 0;
	if (tcsetattr(held, TCSANOW, &raw) != 0)
		return -1;
	printf("%s\n", ptsname(fd));
	fflush(stdout);
	return fd;
}

/* Reads what has come, waiting at most 5 ms. 0: the bench hung up. */
static int serve(void)
{
	uint8_t bytes[512];
	struct pollfd p;
	ssize_t n, i;

	p.fd = in_fd;
	p.events = POLLIN;
	p.revents = 0;
	if (poll(&p, 1, 5) > 0) {
		n = read(in_fd, bytes, sizeof bytes);
		if (n <= 0)
			return 0;
		for (i = 0; i < n; i++)
			rig_receive(&glue_rig, bytes[i]);
	}
	rig_poll(&glue_rig);
	flush();
	return 1;
}

int main(int argc, char **argv)
{
	if (argc > 1 && strcmp(argv[1], "-p") == 0) {
		in_fd = out_fd = open_terminal();
		if (in_fd < 0) {
			perror("rig-host: no pseudo-terminal");
			return 1;
		}
	}
	glue_init((uint32_t)time(0) ^ (uint32_t)getpid() << 16 ^ board_micros());
	while (serve())
		;
	return 0;
}
