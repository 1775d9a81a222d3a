"""The pages and the JSON interface over the stored plans. Thin: what they show is worked out in `cakewright.app`."""
