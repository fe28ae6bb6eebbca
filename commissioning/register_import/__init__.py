"""The equipment register in one workbook: a template, a dry run, an import that is all or nothing, an export.

`sheets` declares each sheet once; `reading` turns a file into rows, `plan` compares them with the register, `apply`
writes, `export` and `template` write the same sheets out. Other rooms add sheets through the setting REGISTER_SHEETS.
"""
