"""guides.core.models"""
