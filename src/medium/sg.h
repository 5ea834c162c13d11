/* SCSI commands to an open block device, past its driver: the kernel's SG_IO. */
#ifndef MEDIUM_SG_H
#define MEDIUM_SG_H

struct scsi_exchange;

/* 0 when an answer came, whatever it is; -ENOTSUP where there is no SCSI below, or another negative errno. */
int sg_send(int fd, struct scsi_exchange *x);

#endif
