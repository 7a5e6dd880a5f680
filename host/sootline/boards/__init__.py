"""Putting board code on boards: releases, the key that signs them, and how they are sent."""
