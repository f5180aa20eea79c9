"""The network: a small encoder and decoder, four maps at half the input's size; and its file, 8 bits a weight."""
import numpy as np
import torch
import torch.nn as nn
import torch.nn.functional as F

WIDTHS = [16, 32, 64, 96, 128, 128]
DEPTHS = [1, 1, 1, 2, 2, 1]
MAPS = ["beam", "bulb", "gun", "scale"]


class Layer(nn.Module):
    """Convolution, batch normalisation (folded into it in the file), rectifier."""

    def __init__(self, cin, cout, size=3, stride=1, act=True):
        super().__init__()
        self.conv = nn.Conv2d(cin, cout, size, stride, size // 2, bias=False)
        self.norm = nn.BatchNorm2d(cout)
        self.act = act

    def forward(self, x):
        x = self.norm(self.conv(x))
        return F.relu(x) if self.act else x

    def folded(self):
        n = self.norm
        k = n.weight / torch.sqrt(n.running_var + n.eps)
        return self.conv.weight * k[:, None, None, None], n.bias - n.running_mean * k


class Finder(nn.Module):
    """Encoded RGB, 0 to 1, sides multiples of 64 → logits [B, 4, H/2, W/2]."""

    def __init__(self):
        super().__init__()
        self.down, self.along, self.narrow, self.join = (nn.ModuleList() for _ in range(4))
        last = 3
        for width, depth in zip(WIDTHS, DEPTHS):
            self.down.append(Layer(last, width, stride=2))
            self.along.append(nn.Sequential(*(Layer(width, width) for _ in range(depth))))
            last = width
        for k in range(len(WIDTHS) - 2, -1, -1):
            self.narrow.append(Layer(WIDTHS[k + 1], WIDTHS[k], size=1, act=False))
            self.join.append(Layer(WIDTHS[k], WIDTHS[k]))
        self.head = nn.Conv2d(WIDTHS[0], len(MAPS), 1)
        nn.init.constant_(self.head.bias, -3.0)

    def forward(self, x):
        x = (x - 0.4) * 3
        kept = []
        for down, along in zip(self.down, self.along):
            x = down(x)
            for layer in along:
                x = x + layer(x)
            kept.append(x)
        for k, (narrow, join) in enumerate(zip(self.narrow, self.join)):
            x = F.interpolate(narrow(x), scale_factor=2, mode="nearest") + kept[-2 - k]
            x = x + join(x)
        return self.head(x)


def write_onnx(net, path):
    """Writes the network with 8-bit weights (one step a filter), probabilities out."""
    import onnx
    from onnx import TensorProto, helper, numpy_helper
    net = net.float().cpu().eval()
    nodes, stored, count = [], [], [0]

    def name(kind):
        count[0] += 1
        return f"{kind}{count[0]}"

    def constant(kind, array):
        n = name(kind)
        stored.append(numpy_helper.from_array(np.ascontiguousarray(array), n))
        return n

    def node(kind, inputs, **how):
        out = name("v")
        nodes.append(helper.make_node(kind, inputs, [out], **how))
        return out

    def conv(x, weight, bias, stride):
        w = weight.detach().numpy()
        step = np.maximum(np.abs(w).max((1, 2, 3)), 1e-8) / 127
        q = np.clip(np.round(w / step[:, None, None, None]), -127, 127).astype(np.int8)
        w = node("DequantizeLinear", [constant("q", q), constant("s", step.astype(np.float32))], axis=0)
        pad = weight.shape[-1] // 2
        return node("Conv", [x, w, constant("b", bias.detach().numpy().astype(np.float32))],
                    kernel_shape=list(weight.shape[2:]), strides=[stride] * 2, pads=[pad] * 4)

    def layer(x, l):
        w, b = l.folded()
        y = conv(x, w, b, l.conv.stride[0])
        return node("Relu", [y]) if l.act else y

    x = node("Mul", [node("Sub", ["picture", constant("c", np.float32(0.4))]), constant("c", np.float32(3))])
    twice = constant("r", np.array([1, 1, 2, 2], np.float32))
    kept = []
    for down, along in zip(net.down, net.along):
        x = layer(x, down)
        for l in along:
            x = node("Add", [x, layer(x, l)])
        kept.append(x)
    for k, (narrow, join) in enumerate(zip(net.narrow, net.join)):
        up = node("Resize", [layer(x, narrow), "", twice], mode="nearest",
                  coordinate_transformation_mode="asymmetric", nearest_mode="floor")
        x = node("Add", [up, kept[-2 - k]])
        x = node("Add", [x, layer(x, join)])
    x = conv(x, net.head.weight, net.head.bias, 1)
    nodes.append(helper.make_node("Sigmoid", [x], ["maps"]))
    f = TensorProto.FLOAT
    graph = helper.make_graph(nodes, "finder", [helper.make_tensor_value_info("picture", f, [1, 3, "height", "width"])],
                              [helper.make_tensor_value_info("maps", f, [1, 4, "half_height", "half_width"])], stored)
    model = helper.make_model(graph, opset_imports=[helper.make_opsetid("", 13)], ir_version=8)
    onnx.checker.check_model(model)
    onnx.save(model, path)
