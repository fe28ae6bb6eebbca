"""The demo project: the fictional Ombrefell Water and its three sites. Everybody and everything in it is invented.

The register is a folder of CSV files that goes through the product's own import; the history is made by the product's
own services, so that nothing stands in the demo that a person could not have recorded.
"""
