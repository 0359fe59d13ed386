/* Round trips over a pseudo-terminal in plain C: one process sends OUT bytes and
 * waits for IN bytes, the other takes them and answers. The measure for the
 * bench's own speed. Usage: echo OUT IN COUNT; prints round trips a second. */
#define _GNU_SOURCE
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/wait.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

static int take(int fd, char *buf, int n)
{
    int have = 0;
    while (have < n) {
        struct pollfd p = { fd, POLLIN, 0 };
        int got;
        if (poll(&p, 1, 5000) != 1)
            return -1;
        got = (int)read(fd, buf + have, (size_t)(n - have));
        if (got <= 0)
            return -1;
        have += got;
    }
    return have;
}

int main(int argc, char **argv)
{
    int out, in, count, master, slave, i;
    char buf[4096] = { 1 };
    struct termios t;
    struct timespec a, b;
    pid_t child;

    if (argc != 4)
        return 2;
    out = atoi(argv[1]);
    in = atoi(argv[2]);
    count = atoi(argv[3]);
    if (out < 1 || out > 4096 || in < 1 || in > 4096)
        return 2;
    master = posix_openpt(O_RDWR | O_NOCTTY);
    if (master < 0 || grantpt(master) || unlockpt(master))
        return 1;
    slave = open(ptsname(master), O_RDWR | O_NOCTTY);
    if (slave < 0 || tcgetattr(slave, &t))
        return 1;
    cfmakeraw(&t);
    if (tcsetattr(slave, TCSANOW, &t))
        return 1;
    child = fork();
    if (child == 0) {
        for (;;)
            if (take(slave, buf, out) < 0 || write(slave, buf, (size_t)in) != in)
                _exit(0);
    }
    clock_gettime(CLOCK_MONOTONIC, &a);
    for (i = 0; i < count; i++)
        if (write(master, buf, (size_t)out) != out || take(master, buf, in) < 0)
            return 1;
    clock_gettime(CLOCK_MONOTONIC, &b);
    printf("%.0f\n", count / ((double)(b.tv_sec - a.tv_sec) + (double)(b.tv_nsec - a.tv_nsec) / 1e9));
    kill(child, SIGKILL);
    waitpid(child, NULL, 0);
    return 0;
}
