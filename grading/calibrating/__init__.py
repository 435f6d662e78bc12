"""The yearly calibration: which photos make a set (`choosing`), what answers tell (`sums`), in words (`words`)."""
