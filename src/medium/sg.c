/* SCSI commands to an open block device: SG_IO. */
#include "medium/sg.h"

#include <errno.h>
#include <scsi/sg.h>
#include <stddef.h>
#include <sys/ioctl.h>

#include "medium/scsi.h"
#include "platform/clock.h"

static int direction_of(enum scsi_direction d)
{
	return d == SCSI_DATA_IN    ? SG_DXFER_FROM_DEV
	       : d == SCSI_DATA_OUT ? SG_DXFER_TO_DEV
				    : SG_DXFER_NONE;
}

/* Kernels answer ENOTTY or EINVAL where there is no SCSI below. */
int sg_send(int fd, struct scsi_exchange *x)
{
	uint64_t began = clock_now_ns();
	struct sg_io_hdr h = {
		.interface_id = 'S',
		.dxfer_direction = direction_of(x->direction),
		.cmd_len = x->cdb_length,
		.mx_sb_len = sizeof x->sense,
		.dxfer_len = x->data_length,
		.dxferp = x->data_length ? x->data : NULL,
		.cmdp = x->cdb,
		.sbp = x->sense,
		.timeout = x->timeout_ms,
	};

	if (ioctl(fd, SG_IO, &h) < 0)
		return errno == ENOTTY ? -ENOTSUP : -errno;
	x->duration_ns = clock_span_ns(began, clock_now_ns());
	x->status = h.status;
	x->host_status = h.host_status;
	/* DRIVER_SENSE (08h) of older kernels only says that sense came along: no trouble of the driver. */
	x->driver_status = h.driver_status & 0x07;
	x->sense_length = h.sb_len_wr > sizeof x->sense ? sizeof x->sense : h.sb_len_wr;
	x->residual = h.resid < 0                          ? 0
		      : (uint32_t)h.resid > x->data_length ? x->data_length
							   : (uint32_t)h.resid;
	return 0;
}
