/* What the transports on one file descriptor have in common. Internal to drivers/transport. */
#ifndef ES_DRIVERS_TRANSPORT_DESCRIPTOR_H
#define ES_DRIVERS_TRANSPORT_DESCRIPTOR_H

#include "drivers/transport/transport.h"

/* poll until readable (or writable) or the deadline. `what` names the line in messages. */
enum es_status es_descriptor_wait(int fd, bool to_write, es_time deadline, const char *what,
                                  struct es_error *err);

/* read(2) and write(2) of a non-blocking descriptor against a deadline. */
enum es_status es_descriptor_read(int fd, uint8_t *to, size_t size, es_time deadline, size_t *got,
                                  const char *what, struct es_error *err);
enum es_status es_descriptor_write(int fd, const uint8_t *from, size_t count, es_time deadline,
                                   const char *what, struct es_error *err);

/* Waits until an output queue, asked by ioctl `request` (TIOCOUTQ, SIOCOUTQNSD), is empty. */
enum es_status es_descriptor_drain(int fd, unsigned long request, es_time deadline, const char *what,
                                   struct es_error *err);

/* True for the errno values that mean that the other end or the device is gone. */
bool es_errno_is_hangup(int errnum);

/* ES_HANGUP with a sentence for such an errno, else es_fail_errno. */
enum es_status es_descriptor_fail(int errnum, const char *what, const char *doing, struct es_error *err);

/* libmodbus waits with select, which cannot take larger descriptors. ES_IO when it is. */
enum es_status es_descriptor_selectable(int fd, const char *what, struct es_error *err);

#endif
