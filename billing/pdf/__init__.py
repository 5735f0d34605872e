"""Papers by ReportLab: plain values in, bytes out."""
