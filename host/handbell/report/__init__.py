"""Reports that a coach reads: sentences, tables, charts and pages."""

from .one_class.model import ClassReport, class_report

__all__ = ["ClassReport", "class_report"]
